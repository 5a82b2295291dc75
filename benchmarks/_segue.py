"""Segue, asked through the calls behind ``segue analyse``.

The one place that knows Segue's own interface.
"""

import contextlib
import time
from typing import Any

Item = dict[str, Any]

EDGE_S = 45.0
RATE_HZ = 48_000


def hear_with_segue(truth: Item) -> Item:
    """Segue's answer to an item, in the form of ``segue analyse --json``.

    ``took_s`` is the processor time of the analysis without the reading of the file, and of
    this process only: the machine's other work does not count.
    """
    from segue.analysis import hear_edge
    from segue.audio import read_song

    song_edge = read_song(truth["path"], edge=truth["edge"], edge_s=EDGE_S, rate_hz=RATE_HZ)
    start_s = time.process_time()
    facts = hear_edge(song_edge)
    took_s = time.process_time() - start_s
    first_note = facts.first_note
    return {
        "key": {
            "tonic": _tonic_name(facts.key.key),
            "mode": facts.key.key.mode,
            "confidence": facts.key.confidence,
        },
        "tuning_cents": facts.tuning_cents,
        "tempo_bpm": facts.pulse.tempo_bpm,
        "metre": facts.pulse.metre,
        "beats_s": list(facts.pulse.beats_s),
        "downbeats_s": list(facts.pulse.downbeats_s),
        "first_note": first_note and {"midi": first_note.midi, "time_s": first_note.time_s},
        "took_s": took_s,
    }


def hear_first_note(truth: Item) -> Item:
    """Segue's answer to a monophonic stem: its first note."""
    from segue.analysis.first_note import first_note_of
    from segue.audio import read_song

    song_edge = read_song(truth["path"], edge="start", edge_s=EDGE_S, rate_hz=RATE_HZ)
    start_s = time.process_time()
    note = first_note_of(song_edge.stems[0].clip)
    took_s = time.process_time() - start_s
    return {"first_note": note and {"midi": note.midi, "time_s": note.time_s}, "took_s": took_s}


def is_there() -> bool:
    """Whether the calls exist in the installed version."""
    with contextlib.suppress(ImportError):
        from segue.analysis import hear_edge
        from segue.audio import read_song

        return callable(hear_edge) and callable(read_song)
    return False


def _tonic_name(key: Any) -> str:  # noqa: ANN401 - segue.music.key.Key, imported late
    return str(key).split()[0]
