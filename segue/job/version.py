"""Versions of an option beside it: changed, rendered, scored, kept; taken back and brought back.

Only what is new is rendered. The document of the run is written last of all that counts, so that
whatever happens a version is there whole or not at all.
"""

from __future__ import annotations

import os
import re
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from pydantic import TypeAdapter, ValidationError

from segue.errors import InputError, OptionError, RunFolderError, disk_faults
from segue.files.sole_writer import sole_writer
from segue.files.whole_file import plain_bytes, sweep_parts, write_whole
from segue.job.attempt import Attempt, changed_attempt
from segue.job.keeping import Rendered, as_version, draw_pictures, lowered_to, written_sounds
from segue.job.songs_at_hand import song_place
from segue.job.steps import rendered, sound_of
from segue.runfolder import CandidateRecord, RunDocument, Version, document_text, read_document
from segue.runfolder.run_document import DOCUMENT_NAME, LARGEST_BYTES, candidate_of
from segue.runfolder.run_records import MOST_VERSIONS, version_letters

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from segue.audio.clip import Edge
    from segue.job.changes import Changes

UNDONE_NAME: Final = "undone"
"""Folder inside the run with the versions that were taken back."""
N_STEPS: Final = 3  # of a change that are told: reading, rendering, writing


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionOrder:
    """A version that is wanted.

    Parameters
    ----------
    option : int, str or None
        What is changed: '2', or a version such as '2b'; None is the chosen or else the best.
    own_recipes : Path or None
        Folder of the user's own recipes beside the shelf.
    """

    run: Path
    option: int | str | None
    changes: Changes
    own_recipes: Path | None = None


def make_version(
    order: VersionOrder, *, progress: Callable[[str], None] = lambda _words: None
) -> CandidateRecord:
    """Change an option: a version of it comes to lie beside it in the run folder.

    Raises
    ------
    SegueError
        If there is no such option, something cannot be done, a song is gone or has changed, or
        the folder cannot be written.
    """
    record = candidate_of(read_document(order.run), order.option)
    order = replace(order, option=record.rank)  # whatever is chosen meanwhile
    progress("reading the songs")
    named = checked_version(order)
    progress(f"rendering '{named}'")
    made = rendered_version(order)
    progress("writing the page")
    return kept_version(order, made)


def checked_version(order: VersionOrder) -> str:
    """Make sure that a version can be made: its plan, and the songs, which are read for it.

    Gives the name of its recipe.

    Raises
    ------
    SegueError
        If it cannot.
    """
    step = _step_of(order)[1]
    check_songs(step)
    return step.recipe.name


def rendered_version(order: VersionOrder) -> Rendered:
    """A version rendered and scored, as loud as what it is made of; nothing is written.

    Raises
    ------
    SegueError
        If it cannot be.
    """
    record, step, _ = _step_of(order)
    return lowered_to(rendered(step), record.loudness_lufs)


def kept_version(order: VersionOrder, made: Rendered) -> CandidateRecord:
    """Write what was rendered into the run, whose document may have changed in the meantime.

    Raises
    ------
    SegueError
        If the folder cannot be written.
    """
    record, _, words = _step_of(order)
    with _sole_hand(order.run) as place:
        document = read_document(place)
        option = record.rank if record.version is None else record.version.option
        version = Version(
            option=option,
            letters=_free_letters(place, document, option),
            of=record.label,
            changes=words,
        )
        taken = [r.rank for r in document.candidates] + [one.rank for one in _undone(place)]
        named = as_version(made, max(taken) + 1, version)
        title = f"{document.outgoing.title} → {document.incoming.title}"
        sounds = written_sounds(place, (named,))
        for file in named.record.sound_files:
            sounds(file)
        draw_pictures(place, (named,), title=title)
        document = replace(document, candidates=(*document.candidates, named.record))
        _write_document(place, document)
        _write_page(place, document)
    return named.record


def _step_of(order: VersionOrder) -> tuple[CandidateRecord, Attempt, tuple[str, ...]]:
    """What is changed, what makes it, and what is changed about it in words."""
    document = read_document(order.run)
    record = candidate_of(document, order.option)
    step, new, _ = changed_attempt(
        order.run, document, record.rank, order.changes, own_recipes=order.own_recipes
    )
    return record, step, new.words


def check_songs(step: Attempt) -> None:
    """Make sure that the songs are those of the run.

    Raises
    ------
    InputError
        If one is gone, cannot be read, or sounds otherwise.
    """
    edges: tuple[Edge, Edge] = ("end", "start")
    for song, edge in zip(step.songs, edges, strict=True):
        path = song_place(step.run, step.request, edge).path
        if not path.exists():
            raise InputError(
                path, "is not there any more: put it back, or make the run again with it."
            )
        if sound_of(step, edge) != song.sound:
            raise InputError(path, "has changed since the run was made: make the run again.")


def _write_page(run: Path, document: RunDocument) -> None:
    from segue.audition import write_page  # heavy, and a draft has no page

    write_page(run, document)


def undo(run: Path) -> CandidateRecord:
    """Take the latest version back; its files go to the folder `undone` inside the run.

    Raises
    ------
    SegueError
        If there is none, the band chose it, or the folder cannot be written.
    """
    with _sole_hand(run) as place:
        document = read_document(place)
        if not document.versions:
            raise RunFolderError(
                run, "has no version to take back: make one with 'segue change' first."
            )
        last = document.candidates[-1]
        if document.choice is not None and document.choice.rank == last.rank:
            raise RunFolderError(
                run,
                f"cannot take {last.label} back, which is what the band chose: choose another "
                "first.",
            )
        aside = place / UNDONE_NAME
        aside.mkdir(exist_ok=True)
        number = 1 + max((one.number for one in _undone(place)), default=0)
        name = f"{number:04d} {last.rank} {last.label}.json"
        write_whole(aside / name, _adapter().dump_json(last))
        left = replace(document, candidates=document.candidates[:-1])
        _write_document(place, left)
        for file in _files(last):
            if (place / file).exists():
                (place / file).replace(aside / file)
        _write_page(place, left)
    return last


def redo(run: Path) -> CandidateRecord:
    """Bring back the version that was taken back last.

    Raises
    ------
    SegueError
        If there is none, or the folder cannot be written.
    """
    with _sole_hand(run) as place:
        document = read_document(place)
        waiting = _undone(place)
        if not waiting:
            raise RunFolderError(
                run, "has nothing to bring back: take a version back with 'segue undo' first."
            )
        path = waiting[-1].path
        record = _read_undone(path)
        for file in _files(record):
            if not (place / file).exists():
                if not (path.parent / file).exists():
                    raise RunFolderError(path.parent / file, "is gone: change the option again.")
                (path.parent / file).replace(place / file)
        together = sorted((*document.candidates, record), key=lambda one: one.rank)
        document = replace(document, candidates=tuple(together))
        _write_document(place, document)
        path.unlink()
        if not any(path.parent.iterdir()):
            path.parent.rmdir()
        _write_page(place, document)
    return record


class _Undone(NamedTuple):
    """A version that was taken back: in which order, what it was, and where it is told."""

    number: int
    rank: int
    label: str
    path: Path


def _undone(place: Path) -> list[_Undone]:
    """What was taken back, the latest last."""
    aside = place / UNDONE_NAME
    found = sorted(aside.glob("[0-9]*.json")) if aside.is_dir() else []
    named = [(_UNDONE_FILE.fullmatch(path.name), path) for path in found]
    return [_Undone(int(m[1]), int(m[2]), m[3], path) for m, path in named if m is not None]


_UNDONE_FILE: Final = re.compile(r"(\d{4}) (\d{1,4}) (\w{1,6})\.json", re.ASCII)


def _read_undone(path: Path) -> CandidateRecord:
    try:
        content = plain_bytes(path, most_bytes=LARGEST_BYTES)
        return _adapter().validate_json(content, strict=True, extra="forbid")
    except (OSError, ValidationError) as error:
        raise RunFolderError(path, "is damaged: change the option again.") from error


def _adapter() -> TypeAdapter[CandidateRecord]:
    return TypeAdapter(CandidateRecord)


def _free_letters(place: Path, document: RunDocument, option: int) -> str:
    """Letters that no version of an option has or had: a letter means one version for good."""
    taken = {record.label for record in document.candidates}
    taken |= {one.label for one in _undone(place)}
    for n in range(MOST_VERSIONS):
        if f"{option}{version_letters(n)}" not in taken:
            return version_letters(n)
    raise OptionError(
        f"option {option} has {MOST_VERSIONS} versions already: take some back with 'segue undo' "
        f"and empty the folder {UNDONE_NAME}."
    )


def _files(record: CandidateRecord) -> tuple[str, ...]:
    return (*record.sound_files, record.picture_file)


def _write_document(place: Path, document: RunDocument) -> None:
    sweep_parts(place / DOCUMENT_NAME)
    write_whole(place / DOCUMENT_NAME, document_text(document).encode())


@contextmanager
def _sole_hand(run: Path) -> Iterator[Path]:
    """Be the only one who writes a run; what the disk refuses is told of the run."""
    place = Path(os.path.realpath(run))
    read_document(run)  # what is no run is told before anything is written beside it
    told = "cannot be written ({}): make room, or mend its rights."
    with disk_faults(run, told, RunFolderError), sole_writer(place):
        yield place
