"""Songs for the beat net from the makers of the other ears benchmarks: scores, grooves, sketches.

What those makers render through one synthesiser is here only notes with their beats, so that
any SoundFont, room and desk of `benchmarks._pulse_sound` can play them.
"""

from typing import Final

import numpy as np

from benchmarks import _grooves
from benchmarks._draft import Draft
from benchmarks._pulse_songs import MadeSong
from benchmarks._score_drafts import score_draft
from benchmarks._scores import Score
from benchmarks._song_sketch import Sketch
from benchmarks.rendered_songs import drafted

FEWEST_DOWNBEATS: Final = 4
LONGEST_S: Final = 26.0


def score_song(score: Score, rng: np.random.Generator) -> MadeSong | None:
    """An end or a start of a score, as the ears benchmark performs it."""
    draft = score_draft(score, "end" if rng.random() < 0.5 else "start", rng)
    return draft and _of_draft(draft, group=score.style, piece=score.name)


def groove_song(seed: int, rng: np.random.Generator) -> MadeSong:
    """A groove of the ears benchmark."""
    draft = _grooves.groove("end" if rng.random() < 0.5 else "start", rng)
    return _of_draft(draft, group="groove", piece=f"groove {seed}")


def _of_draft(draft: Draft, *, group: str, piece: str) -> MadeSong:
    voices, notes = draft.performance.voices, draft.performance.notes
    rows = [(n.start_s, n.length_s, n.midi, n.velocity, n.channel) for n in notes]
    beats, unit = draft.time_signature.split("/")
    return MadeSong(
        notes=np.array(sorted(rows)), from_s=draft.from_s, to_s=draft.to_s, group=group,
        programs={channel: voice.program for channel, voice in voices.items()},
        volumes={channel: voice.volume for channel, voice in voices.items()},
        beats_s=np.array(draft.beats_s), is_down=np.array(draft.downbeat_of_beat),
        piece=piece, metre=int(beats) // 3 if unit == "8" else int(beats), fade_s=draft.fade_s,
    )  # fmt: skip


def sketch_song(sketch: Sketch, rng: np.random.Generator) -> MadeSong | None:
    """A stretch of a sketch as the players of the key benchmark play it.

    None where its metre is in doubt, or where drums count it at another octave than is felt.
    """
    if not sketch.is_metre_sure:
        return None
    try:
        draft = drafted(sketch, rng)
    except (ValueError, IndexError):  # too short a song, nothing sounding
        return None
    truth, voices = draft.truth, draft.players.voices
    is_counted_otherwise = truth["has_drums"] and truth["felt_octave"] != 0
    if is_counted_otherwise or len(truth["downbeats_s"]) < FEWEST_DOWNBEATS:
        return None
    rows = [(n.start_s, n.length_s, n.midi, n.velocity, n.channel) for n in draft.notes]
    beats_s = np.array(truth["beats_s"])
    from_s = max(draft.length_s - LONGEST_S, 0.0) if draft.cut.edge == "end" else 0.0
    to_s = min(draft.length_s, from_s + LONGEST_S)
    inside = (beats_s >= from_s) & (beats_s < to_s)
    return MadeSong(
        notes=np.array(sorted(rows)), from_s=from_s, to_s=to_s, group=f"band {sketch.group}",
        programs={channel: voice.program for channel, voice in voices.items()},
        volumes={channel: voice.volume for channel, voice in voices.items()},
        beats_s=beats_s[inside], is_down=np.isin(beats_s, truth["downbeats_s"])[inside],
        piece=sketch.name, metre=truth["metre"], fade_s=draft.cut.fade_s,
    )  # fmt: skip
