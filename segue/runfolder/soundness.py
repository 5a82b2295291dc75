"""Whether a run document that was edited by hand still makes sense to later commands."""

from __future__ import annotations

from itertools import pairwise
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Final

from segue.audio.decode import MAX_RATE_HZ, MIN_RATE_HZ
from segue.audio.song_toml import MAX_METRE
from segue.plan.layer import PadLayer, PlayedLayer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan.plan import Plan
    from segue.runfolder.run_document import CandidateRecord, RunDocument

LONGEST_S: Final = 3600.0
MOST_BEATS: Final = 36_000.0
SLOWEST_BPM, FASTEST_BPM = 5.0, 2_000.0
"""No way across lasts an hour. Later commands go through a plan beat by beat: beyond these limits
they would not come to an end."""
HIGHEST_MIDI: Final = 127
"""Of the data byte of a note (MIDI 1.0 Detailed Specification)."""


def misfits(document: RunDocument) -> Iterator[str]:
    """What does not hold together in a document whose fields are all of the right kind.

    Yields
    ------
    str
        Where, and what, without the remedy.
    """
    if not MIN_RATE_HZ <= document.rate_hz <= MAX_RATE_HZ:
        yield f"rate_hz is {document.rate_hz}"
    ranks = [record.rank for record in document.candidates]
    if ranks != list(range(1, len(ranks) + 1)):
        yield f"the ranks of the candidates are {ranks}"
    if document.choice is not None and document.choice.rank not in ranks:
        yield f"candidate {document.choice.rank} is chosen, and there is none"
    for record in document.candidates:
        yield from (f"candidate {record.rank}: {words}" for words in _of_candidate(record))


def _of_candidate(record: CandidateRecord) -> Iterator[str]:
    for name in (record.music_file, record.click_file, record.cue_file, record.picture_file):
        if not _is_plain(name):
            yield f"{name!r} names no file of the run"
    yield from _of_plan(record.plan)


def _of_plan(plan: Plan) -> Iterator[str]:
    tempi = [bpm for span in plan.tempo.spans for bpm in (span.start_bpm, span.end_bpm)]
    if not all(SLOWEST_BPM <= bpm <= FASTEST_BPM for bpm in tempi):
        yield f"a tempo is not {SLOWEST_BPM:.0f} to {FASTEST_BPM:.0f} BPM"
    elif not 0.0 <= plan.lead_in_s <= LONGEST_S or not plan.duration_s <= LONGEST_S:
        yield "it lasts longer than an hour"
    if not all(abs(beat) <= MOST_BEATS for beat in _beats_of(plan)):
        yield f"something lies more than {MOST_BEATS:.0f} beats away"
    if not plan.bar_lines:
        yield "it has no bar lines"
    if any(b.beat <= a.beat for a, b in pairwise(plan.bar_lines)):
        yield "its bar lines do not ascend"
    if not all(1 <= line.metre <= MAX_METRE for line in plan.bar_lines):
        yield f"a bar has not 1 to {MAX_METRE} beats"
    notes = [
        *(note.midi for note in plan.cue),
        *(midi for layer in plan.layers if isinstance(layer, PadLayer | PlayedLayer)
          for voicing in layer.voicings for midi in voicing.notes_midi),
    ]  # fmt: skip
    if not all(0 <= midi <= HIGHEST_MIDI for midi in notes):
        yield f"a note lies outside 0 to {HIGHEST_MIDI}"


def _beats_of(plan: Plan) -> Iterator[float]:
    """Every beat that a plan names."""
    yield from (plan.exit_beat, plan.entry_beat, plan.end_beat)
    yield from (line.beat for line in plan.bar_lines)
    yield from (hit.beat for hit in plan.click)
    for note in plan.cue:
        yield from (note.start_beat, note.end_beat)
    for layer in plan.layers:
        yield from (layer.start_beat, layer.end_beat)
        if isinstance(layer, PadLayer | PlayedLayer):
            for voicing in layer.voicings:
                yield from (voicing.start_beat, voicing.end_beat)
        if isinstance(layer, PlayedLayer):
            for played in layer.notes:
                yield from (played.start_beat, played.end_beat)
    if plan.singer_beat is not None:
        yield plan.singer_beat


def _is_plain(name: str) -> bool:
    """Whether a name stays in its folder, on any system."""
    return (
        name == PurePosixPath(name).name == PureWindowsPath(name).name
        and name.isprintable()
        and name not in ("", ".", "..")
    )
