"""What is heard of the kept excerpts; ``python -m tests.regression.write_hearing`` writes it."""

from segue.analysis.hear import hear_edge
from segue.audio import read_song
from tests.regression.kept import DATA, SONGS, write

NAME = "hearing.json"


def heard(name):
    """The facts of one excerpt that a change would move first, rounded well below their use."""
    song = SONGS[name]
    facts = hear_edge(read_song(DATA / song["file"], edge=song["edge"]))
    pulse, side = facts.pulse, facts.ending or facts.opening
    return {
        "key": str(facts.key.key),
        "key_confidence": round(facts.key.confidence, 3),
        "tuning_cents": round(facts.tuning_cents, 2),
        "tempo_bpm": round(pulse.tempo_bpm, 3),
        "metre": pulse.metre,
        "n_beats": len(pulse.beats_s),
        "first_beat_s": round(pulse.beats_s[0], 4),
        "last_beat_s": round(pulse.beats_s[-1], 4),
        "first_downbeat_s": round(pulse.downbeats_s[0], 4),
        "pulse_confidence": round(pulse.confidence, 3),
        "downbeat_confidence": round(pulse.downbeat_confidence, 3),
        "loudness_lufs": round(facts.level.loudness_lufs, 2),
        "true_peak_dbtp": round(facts.level.true_peak_dbtp, 2),
        "side": side.kind,
        "side_confidence": round(side.confidence, 3),
        "has_first_note": facts.first_note is not None,
        "n_doubts": len(facts.doubts),
    }


if __name__ == "__main__":
    write(NAME, {name: heard(name) for name in SONGS})
