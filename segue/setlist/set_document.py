"""``set.json``: the evening as it was made, and what each of its run folders was made from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from pydantic import TypeAdapter, ValidationError

from segue.errors import RunFolderError, disk_faults
from segue.files.whole_file import first_fault, plain_bytes, plain_json, write_whole
from segue.runfolder import read_document
from segue.runfolder.run_document import LARGEST_BYTES
from segue.setlist.evening import Breaks, Evening, EveningJoin, timed, with_choice

if TYPE_CHECKING:
    from collections.abc import Iterator

SET_NAME: Final = "set.json"
SCHEMA_VERSION: Final = 1  # of the file that an evening is kept in


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDocument:
    """What is kept of an evening.

    Parameters
    ----------
    evening : Evening
        Without the documents of its joins, which are in their own folders.
    breaks : tuple of Breaks
        What was wanted of talk and changeover at each join.
    renders : dict of str to str
        Fingerprint of every run folder that was made here, by its name.
    """

    schema_version: Literal[1]
    segue_version: str
    evening: Evening
    breaks: tuple[Breaks, ...]
    renders: dict[str, str] = field(default_factory=dict)


def write_set(folder: Path, document: SetDocument) -> None:
    """Write ``set.json``, whole or not at all.

    Raises
    ------
    RunFolderError
        If it cannot be written.
    """
    joins = tuple(replace(join, document=None) for join in document.evening.joins)
    renders = dict(sorted(document.renders.items()))  # not in the order in which they were made
    bare = replace(document, evening=replace(document.evening, joins=joins), renders=renders)
    text = _adapter().dump_json(bare, indent=1).decode() + "\n"
    path = folder / SET_NAME
    with disk_faults(path, "could not be written ({}): make room.", RunFolderError):
        write_whole(path, text.encode())


def read_set_document(folder: Path) -> SetDocument:
    """Read ``set.json``.

    Raises
    ------
    RunFolderError
        If there is none, or it does not hold together.
    """
    path = folder / SET_NAME
    try:
        text = plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8")
        version = plain_json(text)["schema_version"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise RunFolderError(
            folder, "is no evening (no readable set.json): make one with 'segue set'."
        ) from error
    if version != SCHEMA_VERSION:
        raise RunFolderError(
            path, f"has schema {version!r}, which this Segue cannot read: make it again."
        )
    try:
        document = _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise RunFolderError(path, f"{first_fault(error)}: make it again.") from error
    for misfit in _misfits(document):
        raise RunFolderError(path, f"does not hold together ({misfit}): make it again.")
    return document


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[SetDocument]:
    return TypeAdapter(SetDocument)


def _misfits(document: SetDocument) -> Iterator[str]:
    """What an edit by hand may have brought apart."""
    evening = document.evening
    if len(document.breaks) != len(evening.joins):
        yield f"there are {len(document.breaks)} breaks for {len(evening.joins)} joins"
    for kind, items in (("songs", evening.songs), ("joins", evening.joins)):
        numbers = [item.number for item in items]
        if numbers != list(range(1, len(items) + 1)):
            yield f"the numbers of the {kind} are {numbers}"
    if any(song.length_s < 0.0 for song in evening.songs):
        yield "a song is shorter than nothing"
    mends = (*evening.mends, *(own for join in evening.joins for own in join.mends))
    if not all(1 <= mend.song <= len(evening.songs) for own in mends for mend in own):
        yield "a warning is about a song that is not there"


def is_evening(folder: Path) -> bool:
    """Whether an evening lies in a folder."""
    return (folder / SET_NAME).is_file()


def read_evening(folder: Path) -> Evening:
    """The evening of a folder, with what the band has chosen since, and the times that follow.

    Parameters
    ----------
    folder : Path
        As ``segue set`` left it.

    Raises
    ------
    RunFolderError
        If it cannot be read.
    """
    document = read_set_document(folder)
    joins = [
        with_choice(_with_document(folder, join), breaks)
        for join, breaks in zip(document.evening.joins, document.breaks, strict=True)
    ]
    return timed(replace(document.evening, joins=tuple(joins)))


def show_choice(run: Path) -> bool:
    """Write the page of the evening anew, where a run whose choice has changed belongs to one.

    Raises
    ------
    SegueError
        If the evening cannot be read, or its page not written.
    """
    evening = run.resolve().parent
    if not is_evening(evening):
        return False
    # draws and fills templates, and most runs belong to no evening
    from segue.setlist.show.evening_page import rewrite_evening_page

    rewrite_evening_page(evening)
    return True


def known_renders(folder: Path) -> dict[str, str]:
    """Fingerprints by run folder, as far as an earlier run left them; else none."""
    try:
        return read_set_document(folder).renders
    except RunFolderError:
        return {}


def _with_document(folder: Path, join: EveningJoin) -> EveningJoin:
    """A run folder's name comes from a file: it must not lead out of the evening."""
    if not join.folder:
        return replace(join, document=None)
    if Path(join.folder).name != join.folder:
        raise RunFolderError(folder / SET_NAME, f"names no run folder with '{join.folder}'.")
    return replace(join, document=read_document(folder / join.folder))
