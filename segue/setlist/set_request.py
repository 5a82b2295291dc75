"""What a whole evening is asked to be, whether that can be, and who alone writes its folder."""

from __future__ import annotations

import contextlib
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.audio.instrument import read_instrument
from segue.errors import InputError, RunFolderError
from segue.files.sole_writer import sole_writer
from segue.files.whole_file import sweep_parts
from segue.job.request import Terms
from segue.recipes import Recipe, all_recipes
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.setlist.set_document import SET_NAME
from segue.setlist.set_file import NEW_SET_NAME
from segue.setlist.show.evening_pack import SHEETS_NAME
from segue.setlist.show.evening_page import EVENING_PAGE_NAME, PICTURE_NAME

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from segue.setlist.set_list import SetList


_FILES = (SET_NAME, EVENING_PAGE_NAME, SHEETS_NAME, PICTURE_NAME, NEW_SET_NAME)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRequest(Terms):
    """What `segue.setlist.make_set.made_evening` is asked to do."""

    set_list: SetList
    out: Path

    @property
    def shelf(self) -> tuple[Recipe, ...]:
        """All recipes to choose from."""
        return all_recipes(self.recipes, own=self.own_recipes).recipes


def check_request(request: SetRequest) -> None:
    """Make sure of the folder, the recipes and the pad before anything is heard.

    Raises
    ------
    SegueError
        If another thing is where the evening should be, a recipe does not exist, or the pad
        cannot be read.
    """
    out = request.out
    if out.is_file() or (out.is_dir() and _is_foreign(out)):
        raise InputError(out, "holds other files and no evening: name a new folder with --out.")
    shelf = all_recipes(request.recipes, own=request.own_recipes)
    for song in request.set_list.songs:
        if song.recipe is not None:
            shelf.named(song.recipe, where=f"after '{song.title}': ")
    if request.pad is not None:
        read_instrument(request.pad)


def _is_foreign(out: Path) -> bool:
    if (out / SET_NAME).exists():
        return False
    return not all(is_of_evening(entry.name) for entry in out.iterdir())


def in_order(request: SetRequest, order: Sequence[int]) -> SetRequest:
    """The same with its songs in another order."""
    songs = tuple(request.set_list.songs[n] for n in order)
    return replace(request, set_list=replace(request.set_list, songs=songs))


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
                out.mkdir(parents=True, exist_ok=True)  # another may have made it just now
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
    for run in list(out.iterdir()):
        if any(run.glob(f".{DOCUMENT_NAME}-*")):
            with contextlib.suppress(RunFolderError, OSError), sole_writer(run):
                sweep_parts(run / DOCUMENT_NAME)


def _remove_if_empty(folder: Path) -> None:
    with contextlib.suppress(OSError):
        folder.rmdir()
