"""One writer at a time for the folder of an evening, and no leftovers of dead ones."""

from __future__ import annotations

import contextlib
from contextlib import contextmanager
from typing import TYPE_CHECKING

from segue.errors import InputError, RunFolderError
from segue.files.sole_writer import sole_writer, sweep_inside
from segue.files.whole_file import sweep_parts
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.setlist.new_set import NEW_SET_NAME
from segue.setlist.set_document import SET_NAME
from segue.setlist.show.evening_page import EVENING_PAGE_NAME
from segue.setlist.show.evening_picture import PICTURE_NAME
from segue.setlist.show.evening_sheets import SHEETS_NAME

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_FILES = (SET_NAME, EVENING_PAGE_NAME, SHEETS_NAME, PICTURE_NAME, NEW_SET_NAME)


@contextmanager
def evening_writer(out: Path) -> Iterator[None]:
    """Be the only one who writes an evening; what dead writers left in its folder is swept.

    Parameters
    ----------
    out : Path
        Made where there is none, and taken away again if nothing was put into it.

    Raises
    ------
    InputError
        If the folder cannot be made or written.
    RunFolderError
        If another process is writing the evening.
    """
    with contextlib.ExitStack() as stack:
        try:
            if not out.is_dir():
                out.mkdir(parents=True)
                stack.callback(_remove_if_empty, out)
            stack.enter_context(sole_writer(out / SET_NAME))
        except RunFolderError as error:
            raise RunFolderError(out, error.problem) from error
        except OSError as error:
            told = f"cannot be written ({error.strerror}): choose another --out."
            raise InputError(out, told) from error
        _sweep(out)
        yield


def is_of_evening(name: str) -> bool:
    """Whether an evening may have a file of that name before it has a ``set.json``."""
    parts = tuple(f".{file}-" for file in _FILES)
    return name == NEW_SET_NAME or name.startswith((".segue-", *parts))


def _sweep(out: Path) -> None:
    for name in _FILES:
        sweep_parts(out / name)
    sweep_inside(out)
    for run in list(out.iterdir()):
        if any(run.glob(f".{DOCUMENT_NAME}-*")):
            with contextlib.suppress(RunFolderError, OSError), sole_writer(run):
                sweep_parts(run / DOCUMENT_NAME)


def _remove_if_empty(folder: Path) -> None:
    with contextlib.suppress(OSError):
        folder.rmdir()
