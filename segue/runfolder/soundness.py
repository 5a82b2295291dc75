"""Whether a run document that was edited by hand still makes sense to later commands."""

from __future__ import annotations

from itertools import pairwise
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Final

from segue.audio.decode import MAX_RATE_HZ, MIN_RATE_HZ
from segue.audio.song_toml import MAX_METRE
from segue.plan.layer import PadLayer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan.plan import Plan
    from segue.runfolder.document import CandidateRecord, RunDocument

HIGHEST_MIDI: Final = 127
"""Of the data byte of a note (MIDI 1.0 Detailed Specification)."""


def misfits(document: RunDocument) -> Iterator[str]:
    """What does not hold together in a document whose fields are all of the right kind.

    Parameters
    ----------
    document : RunDocument

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
    if not plan.bar_lines:
        yield "it has no bar lines"
    if any(b.beat <= a.beat for a, b in pairwise(plan.bar_lines)):
        yield "its bar lines do not ascend"
    if not all(1 <= line.metre <= MAX_METRE for line in plan.bar_lines):
        yield f"a bar has not 1 to {MAX_METRE} beats"
    notes = [
        *(note.midi for note in plan.cue),
        *(midi for layer in plan.layers if isinstance(layer, PadLayer)
          for voicing in layer.voicings for midi in voicing.notes_midi),
    ]  # fmt: skip
    if not all(0 <= midi <= HIGHEST_MIDI for midi in notes):
        yield f"a note lies outside 0 to {HIGHEST_MIDI}"


def _is_plain(name: str) -> bool:
    """Whether a name stays in its folder, on any system."""
    return (
        name == PurePosixPath(name).name == PureWindowsPath(name).name
        and name.isprintable()
        and name not in ("", ".", "..")
    )
