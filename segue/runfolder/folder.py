"""Folders that appear whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from segue.errors import RunFolderError
from segue.runfolder.document import DOCUMENT_NAME, read_document

if TYPE_CHECKING:
    from collections.abc import Iterator


def check_free(out: Path, *, replace: bool = False) -> None:
    """Make sure that a run folder may be written here, before any work is done.

    Parameters
    ----------
    out : Path
        The run folder to be.
    replace : bool
        Whether a run with a choice of the band in it may be replaced.

    Raises
    ------
    RunFolderError
        If something else is there, or a choice would be lost.
    """
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
    if not replace and _has_choice(out):
        raise RunFolderError(
            out, "holds a run whose choice was made: name another --out, or add --replace."
        )


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A temporary neighbour to fill, which becomes `out` if all goes well.

    Parameters
    ----------
    out : Path
        The folder to be; an earlier run there is replaced at the end.

    Yields
    ------
    Path
        An empty folder; removed if an exception passes.

    Raises
    ------
    RunFolderError
        If the neighbour cannot be made or moved into place.
    """
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    except OSError as error:
        raise RunFolderError(
            out, f"cannot be written ({error.strerror}): choose another --out."
        ) from error
    try:
        yield staging
        staging.chmod(0o755)
        _move_into_place(staging, out)
    except OSError as error:
        raise RunFolderError(out, f"could not be written ({error.strerror}).") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _move_into_place(staging: Path, out: Path) -> None:
    if not out.exists():
        staging.rename(out)
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name}-old-", dir=out.parent))
    try:
        out.rename(aside / out.name)
        try:
            staging.rename(out)
        except OSError:
            (aside / out.name).rename(out)
            raise
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _has_choice(out: Path) -> bool:
    try:
        return read_document(out).choice is not None
    except RunFolderError:
        return False
