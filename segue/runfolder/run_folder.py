"""Folders that appear whole or not at all."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from dataclasses import replace as with_fields
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.errors import RunFolderError, SegueError, disk_faults, printable
from segue.files.sole_writer import NEW, aside_path, neighbour_prefix, put_back_if_left, sole_writer
from segue.files.whole_file import exchanged, sweep_parts, write_whole
from segue.runfolder.run_document import DOCUMENT_NAME, document_text, read_document

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.runfolder.run_records import Choice, RunDocument

BALLOT_NAME: Final = "ballot.sqlite"
"""The votes of the band, kept in the run folder."""


def check_free(
    out: Path,
    *,
    replace: bool = False,
    keeps_choice: bool = False,
    pair: tuple[str, str] | None = None,
) -> None:
    """Make sure that a run folder may be written here.

    To be asked before any work is done, and again by its sole writer: in between, the band
    may have chosen.

    Parameters
    ----------
    replace : bool
        Whether a run with a choice or votes of the band in it may be replaced.
    keeps_choice : bool
        Whether a choice is carried over to the new run, and so is not lost.
    pair : (str, str), optional
        Places of the two songs: a run of two others is not replaced without a word.

    Raises
    ------
    RunFolderError
        If something else is there, or a choice or versions would be lost.
    """
    put_back_if_left(Path(os.path.realpath(out)))
    if not out.exists() and not out.is_symlink():
        return
    if not out.is_dir():
        raise RunFolderError(out, "is a file: name a folder with --out.")
    if not any(out.iterdir()):
        return
    if not (out / DOCUMENT_NAME).is_file():
        raise RunFolderError(
            out, "holds other files and is not a run folder: name a new one with --out."
        )
    if not (replace or keeps_choice) and _has_choice(out):
        raise RunFolderError(
            out, "holds a run whose choice was made: name another --out, or add --replace."
        )
    if not replace and _has_votes(out / BALLOT_NAME):
        raise RunFolderError(
            out, "holds a run with votes of the band: name another --out, or add --replace."
        )
    if not replace:
        _check_kept(out, None if keeps_choice else pair)


def _has_votes(ballot: Path) -> bool:
    """Whether somebody voted: a vote that was only opened leaves its file, too."""
    if not ballot.exists():
        return False
    try:
        with closing(sqlite3.connect(f"{ballot.resolve().as_uri()}?mode=ro", uri=True)) as votes:
            row = votes.execute("SELECT EXISTS (SELECT 1 FROM votes)").fetchone()
    except sqlite3.Error:
        return True  # what cannot be read may hold some
    return bool(row[0])


def _check_kept(out: Path, pair: tuple[str, str] | None) -> None:
    """Refuse to replace what was made by hand, or made of two other songs."""
    try:
        document = read_document(out)
    except RunFolderError:
        return
    if document.versions:
        labels = ", ".join(record.label for record in document.versions)
        raise RunFolderError(
            out, f"holds options that you changed ({labels}): name another --out, or add --replace."
        )
    sources = document.sources
    if pair is None or sources is None:
        return
    if tuple(map(os.path.realpath, (sources.outgoing.path, sources.incoming.path))) != tuple(
        map(os.path.realpath, pair)
    ):
        raise RunFolderError(
            out,
            f"holds the segues from '{printable(document.outgoing.title)}' to "
            f"'{printable(document.incoming.title)}': name another --out, or add --replace.",
        )


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A temporary neighbour to fill, which becomes `out` if all goes well.

    Whatever happens to the process, `out` is the earlier folder or the new one. Where the
    system cannot let two folders change places in one step, a process that is killed between
    two renames leaves the earlier one aside, and `check_free` or the next run puts it back.

    Parameters
    ----------
    out : Path
        The folder to be; an earlier run there is replaced at the end. A link to a folder
        stays a link.

    Yields
    ------
    Path
        An empty folder; removed if an exception passes.

    Raises
    ------
    RunFolderError
        If the neighbour cannot be made or moved into place, or another process writes here.
    """
    place = Path(os.path.realpath(out))
    told = "cannot be written ({}): make room, or choose another folder with --out."
    with disk_faults(out, told, RunFolderError):
        place.parent.mkdir(parents=True, exist_ok=True)
        with sole_writer(place):
            prefix = f"{neighbour_prefix(place)}-{NEW}-"
            staging = Path(tempfile.mkdtemp(prefix=prefix, dir=place.parent))
            with _told_of(staging, out):
                yield staging
            staging.chmod(0o755)
            _move_into_place(staging, place)


def write_choice(folder: Path, choice: Choice) -> RunDocument:
    """Write the choice of the band into the document, whole or not at all.

    Gives the document as it is now on the disk.

    Parameters
    ----------
    choice : Choice
        Replaces an earlier one.

    Raises
    ------
    RunFolderError
        If there is no such candidate, or the document cannot be read or written.
    """
    place = Path(os.path.realpath(folder))
    document = read_document(folder)
    if choice.rank not in [record.rank for record in document.candidates]:
        there = ", ".join(record.label for record in document.candidates) or "none"
        raise RunFolderError(
            folder, f"has no option {choice.rank}: choose one that it has ({there})."
        )
    path = place / DOCUMENT_NAME
    told = "could not be written ({}): make room, or change its rights."
    with disk_faults(folder / DOCUMENT_NAME, told, RunFolderError), sole_writer(place):
        chosen = with_fields(read_document(folder), choice=choice)
        sweep_parts(path)
        write_whole(path, document_text(chosen).encode())
    return chosen


@contextmanager
def _told_of(staging: Path, out: Path) -> Iterator[None]:
    """Faults in a file of the neighbour are told as of the folder that the user named."""
    try:
        yield
    except SegueError as error:
        told = str(error).replace(printable(staging), printable(out))
        if told == str(error):
            raise
        raise SegueError(told) from error


def _move_into_place(staging: Path, out: Path) -> None:
    if not out.exists():
        staging.rename(out)
    elif not exchanged(staging, out):
        aside = aside_path(out)
        out.rename(aside)
        try:
            staging.rename(out)
        except OSError:
            aside.rename(out)
            raise


def _has_choice(out: Path) -> bool:
    try:
        return read_document(out).choice is not None
    except RunFolderError:
        return False
