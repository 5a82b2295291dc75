"""Options changed by hand: versions beside them, taken back and brought back, kept as recipes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from segue.api.main_job import Option, Segues, option_of, segues_of, tell_nobody
from segue.job.changes import Changes

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.job.draft import Draft
    from segue.plan import Plan
    from segue.recipes import Recipe


def read_run(run: str | Path) -> Segues:
    """A run folder as it is now, with the versions that were made since.

    Raises
    ------
    SegueError
        If it is no run folder, or a damaged one.
    """
    from segue.runfolder import read_document

    return segues_of(Path(run), read_document(Path(run)))


def change(
    run: str | Path,
    option: int | str,
    changes: Changes,
    *,
    own_recipes: str | Path | None = None,
    progress: Callable[[str], None] = tell_nobody,
) -> Option:
    """Change an option: a version of it comes to lie beside it in the run folder.

    Only the version is rendered and scored; the songs stay in memory for the next change of the
    same run.

    Parameters
    ----------
    option : int or str
        2, '2' or a version such as '2b'.
    own_recipes : str or Path, optional
        Folder of your own recipes beside the shelf, for `Changes.recipe`.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    Option
        The version; `Option.label` is what it is called, such as '2b'.

    Raises
    ------
    SegueError
        If something cannot be done, a song is gone or has changed, or the folder cannot be
        written; then the run is as it was.
    """
    from segue.job.version import VersionOrder, make_version
    from segue.runfolder import read_document

    folder, own = Path(run), None if own_recipes is None else Path(own_recipes)
    order = VersionOrder(run=folder, option=option, changes=changes, own_recipes=own)
    record = make_version(order, progress=progress)
    return option_of(folder, record, read_document(folder).rate_hz)


def plan_change(
    run: str | Path, option: int | str, changes: Changes, *, own_recipes: str | Path | None = None
) -> Plan:
    """The plan of a changed option, without its sound and without writing anything.

    Raises
    ------
    SegueError
        If something cannot be done.
    """
    from segue.job.attempt import changed_attempt
    from segue.runfolder import read_document

    folder, own = Path(run), None if own_recipes is None else Path(own_recipes)
    return changed_attempt(folder, read_document(folder), option, changes, own_recipes=own)[2]


def draft(
    run: str | Path,
    option: int | str,
    changes: Changes | None = None,
    *,
    own_recipes: str | Path | None = None,
) -> Draft:
    """Hear roughly what an option would be like, changed or as it is; nothing is written.

    The first draft of a run reads its songs, or finds them in the cache; further ones of the same
    run in the same process take a fraction of a second.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    from segue.job.draft import make_draft

    own = None if own_recipes is None else Path(own_recipes)
    return make_draft(Path(run), option, changes or Changes(), own_recipes=own)


def undo(run: str | Path) -> Option:
    """Take the latest version back; its files wait in the folder `undone` of the run.

    Returns
    -------
    Option
        What was taken back, with the paths where its files were.

    Raises
    ------
    SegueError
        If there is none, or the band chose it.
    """
    from segue.job.version import undo as taken_back

    return option_of(Path(run), taken_back(Path(run)), read_run(run).rate_hz)


def redo(run: str | Path) -> Option:
    """Bring back the version that was taken back last, under the name that it had.

    Raises
    ------
    SegueError
        If there is none.
    """
    from segue.job.version import redo as brought_back

    return option_of(Path(run), brought_back(Path(run)), read_run(run).rate_hz)


def recipe_of(
    run: str | Path,
    option: int | str,
    changes: Changes | None = None,
    *,
    name: str,
    own_recipes: str | Path | None = None,
) -> Recipe:
    """The recipe that makes an option, changed or as it is, under a name of its own.

    Parameters
    ----------
    changes : Changes, optional
        What is changed first. Where the songs are left and entered is not a recipe's to say.

    Raises
    ------
    SegueError
        If something cannot be done, or the name is none.
    """
    from segue.job.own_recipe import own_recipe

    own = None if own_recipes is None else Path(own_recipes)
    return own_recipe(Path(run), option, changes or Changes(), name=name, own_recipes=own)
