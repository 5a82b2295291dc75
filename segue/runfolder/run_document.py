"""The run document: everything a later command needs, as one JSON file.

The file has a schema version. Writing and reading go through one function
each; what is read is checked as strictly as what is typed in a recipe. One that
was edited by hand must still make sense to later commands: `misfits` tells where it does not.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import pairwise
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Any, Final

from segue.audio.decode import MAX_RATE_HZ, MIN_RATE_HZ
from segue.audio.song_toml import MAX_METRE
from segue.errors import OptionError, RunFolderError, shortened
from segue.files.whole_file import first_fault, plain_bytes, plain_json
from segue.plan.layer import PadLayer, PlayedLayer
from segue.runfolder.run_records import LABEL, CandidateRecord, RunDocument

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic import TypeAdapter

    from segue.plan.plan import Plan

SCHEMA_VERSION: Final = 1  # of segue.json; rises when an older reader would go wrong
DOCUMENT_NAME: Final = "segue.json"
LARGEST_BYTES: Final = 1 << 26
"""Far more than any run has to tell."""
LONGEST_TEXT: Final = 4_096
"""Letters, ten times what the longest of our sentences has, and as many as a path may have."""
_CONTROL: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")
"""What a terminal may obey, but for a line's end."""
_NAMES_OF_FILES: Final = ("path", "file")
"""Fields that say what a file is really called; who prints them escapes it."""
LONGEST_SOUND_S: Final = 7 * 86_400.0  # a week: no place in a song or a run is later


def document_text(document: RunDocument) -> str:
    """The document as JSON text, the same for the same run.

    Ends with a newline.
    """
    return _adapter().dump_json(document, indent=1).decode() + "\n"


def read_document(folder: Path) -> RunDocument:
    """Read the document of a run folder.

    Raises
    ------
    RunFolderError
        If there is none, it is not JSON, comes from a newer version, or does
        not hold together.
    """
    from pydantic import ValidationError  # heavy, and whoever renders reads no document

    path = folder / DOCUMENT_NAME
    try:
        text = plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RunFolderError(
            folder, "holds no segues (no readable segue.json): make one with 'segue between'."
        ) from error
    said = _plain_document(path, text)
    version = _version(path, said)
    if version > SCHEMA_VERSION:
        raise RunFolderError(
            path, f"was written by a newer Segue (schema {version}): update, or run it again."
        )
    for place, words in _beyond_measure(said, ()):
        raise RunFolderError(path, f"does not hold together ({place}: {words}): run it again.")
    try:
        document = _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise RunFolderError(path, f"{first_fault(error)}: run it again.") from error
    for misfit in misfits(document):
        raise RunFolderError(path, f"does not hold together ({misfit}): run it again.")
    return document


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[RunDocument]:
    from pydantic import TypeAdapter

    return TypeAdapter(RunDocument)  # takes longer to make than to read a document with


def candidate_of(document: RunDocument, which: int | str | None) -> CandidateRecord:
    """The candidate of a run that is asked for.

    Parameters
    ----------
    which : int, str or None
        A rank, or what it is called, such as '2' or '2b'; None is the one that was chosen, or
        else the best scored.

    Raises
    ------
    OptionError
        If there is no such candidate.
    """
    if which is None:
        which = 1 if document.choice is None else document.choice.rank
    for record in document.candidates:
        if which == record.rank or (isinstance(which, str) and _named(which) == record.label):
            return record
    there = ", ".join(record.label for record in document.candidates) or "none"
    raise OptionError(f"there is no option {shortened(str(which))}: the run has {there}.")


def _named(text: str) -> str:
    return "".join(text.split()).lower()


def _plain_document(path: Path, text: str) -> Any:  # noqa: ANN401 - any JSON value
    try:
        return plain_json(text)
    except (ValueError, RecursionError) as error:
        raise RunFolderError(path, _DAMAGED) from error


_DAMAGED: Final = "is damaged (no JSON with a schema_version): run it again."


def _version(path: Path, said: Any) -> int:  # noqa: ANN401 - any JSON value
    try:
        version = said["schema_version"]
    except (KeyError, TypeError) as error:
        raise RunFolderError(path, _DAMAGED) from error
    if not isinstance(version, int):
        raise RunFolderError(path, f"has schema_version {version!r}, not a number: run it again.")
    return version


def _beyond_measure(value: Any, place: tuple[str, ...]) -> Iterator[tuple[str, str]]:  # noqa: ANN401
    """Texts and seconds that no run of ours has, wherever they stand.

    Whoever prints or walks through them would do so without end, or what they say to a terminal
    would be obeyed.
    """
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _beyond_measure(name, (*place, "a name"))
            yield from _beyond_measure(inner, (*place, name))
    elif isinstance(value, list):
        for inner in value:
            yield from _beyond_measure(inner, place)
    elif words := _what_is_beyond(value, place[-1] if place else ""):
        yield ".".join(shortened(name) for name in place), words


def _what_is_beyond(value: object, name: str) -> str | None:
    if isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            return f"a text of {len(value)} letters"
        if name not in _NAMES_OF_FILES and _CONTROL.search(value):
            return "a text with signs that are not to be printed"
    elif isinstance(value, int | float) and name.endswith("_s") and abs(value) > LONGEST_SOUND_S:
        return "a time longer than a week"
    return None


LONGEST_S: Final = 3600.0  # no plan is an hour long: such a file is broken
MOST_BEATS: Final = 36_000.0  # an hour at 600 BPM: such a file is broken
SLOWEST_BPM, FASTEST_BPM = 5.0, 2_000.0
"""No segue lasts an hour. Later commands go through a plan beat by beat: beyond these limits
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
    n_options = len(document.options)
    ascend = all(a < b for a, b in pairwise(ranks))
    if ranks[:n_options] != list(range(1, n_options + 1)) or not ascend:
        yield f"the ranks of the options are {ranks}"
    if document.choice is not None and document.choice.rank not in ranks:
        yield f"option {document.choice.rank} is chosen, and there is none"
    yield from _of_labels(document)
    for record in document.candidates:
        yield from (f"option {record.rank}: {words}" for words in _of_candidate(record))


def _of_labels(document: RunDocument) -> Iterator[str]:
    """Versions come after the options, are of one of them, and are called after it."""
    n_options = len(document.options)
    if any(record.version is not None for record in document.candidates[:n_options]):
        yield "a version comes before an option"
    labels = [record.label for record in document.candidates]
    if len(set(labels)) < len(labels):
        yield f"two options are called one: {', '.join(labels)}"
    for version in (record.version for record in document.candidates if record.version):
        match = LABEL.fullmatch(version.label)
        if match is None or not match[2] or not 1 <= version.option <= n_options:
            yield f"{version.label!r} is no version of an option"


def _of_candidate(record: CandidateRecord) -> Iterator[str]:
    for name in (*record.sound_files, record.picture_file):
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
