"""Shaping one option: its layers, chords, pad and bars, each change a version beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from annotated_types import MaxLen

from segue.audition.limits import RequestRefusalError
from segue.desk.orders import Name, Words  # noqa: TC001 - pydantic reads the types
from segue.desk.own_folder import safe_name
from segue.desk.sketcher import DraftOrder, RoughSound
from segue.errors import OptionError, SegueError
from segue.job.changes import Changes
from segue.job.own_recipe import own_recipe, write_recipe
from segue.job.version import VersionOrder
from segue.recipes import all_recipes
from segue.recipes.rules import LONGEST_TEXT

if TYPE_CHECKING:
    from concurrent.futures import Future

    from segue.desk.house import House

_BUSY = 429  # status code of HTTP (RFC 6585)
MOST_LAYERS = 32  # layers that a change may name; far beyond use


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeBody:
    """Changes an option; what is left out stays as it is.

    Parameters
    ----------
    option : str
        '2', or a version such as '2b'.
    held, ramp : int or None
        Bars at the old tempo before it moves, and bars over which it does.
    levels : tuple of (str, float)
        Layers and by how many decibels they are louder or softer.
    solo : str or None
        A layer that a draft is heard of alone.
    """

    run: Name
    option: Annotated[str, MaxLen(10)]
    bars: int | None = None
    held: int | None = None
    ramp: int | None = None
    chords: Words | None = None
    pad: Annotated[str, MaxLen(20)] | None = None
    without: Annotated[tuple[Words, ...], MaxLen(MOST_LAYERS)] = ()
    levels: Annotated[tuple[tuple[Words, float | int], ...], MaxLen(MOST_LAYERS)] = ()
    solo: Words | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeBody(ChangeBody):
    """Keeps an option, changed or as it is, as a recipe."""

    name: Annotated[str, MaxLen(LONGEST_TEXT["name"])]


def shape(house: House, body: ChangeBody) -> Future[str]:
    """Have a version of an option made.

    Returns
    -------
    Future of str
        What it is called, such as '2b'; a `SegueError` where something cannot be done, and then
        the run is as it was.

    Raises
    ------
    RequestRefusalError
        If the name of the run leads out of the folder, or too much waits already.
    """
    order = VersionOrder(
        run=house.folder.inside(body.run),
        option=body.option,
        changes=changes_of(body),
        own_recipes=house.rules.own_recipes,
    )
    label = house.version_maker.order(order, body.run)
    if label is None:
        raise RequestRefusalError("Too much is waiting already.", status=_BUSY)
    return label


def drafted(house: House, body: ChangeBody) -> RoughSound:
    """A draft of a change: the bridge and a few seconds around it, and nothing is kept.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    return house.sketcher.draft(
        DraftOrder(
            run=house.folder.inside(body.run),
            option=body.option,
            changes=changes_of(body),
            own_recipes=house.rules.own_recipes,
            solo=(body.solo,) if body.solo else (),
        )
    )


def changes_of(body: ChangeBody) -> Changes:
    """What was sent, as the commands take it."""
    return Changes(
        n_bars=body.bars,
        ramp_bars=body.ramp,
        held_bars=body.held,
        chords=body.chords or None,
        pad=body.pad or None,
        without=body.without,
        levels=tuple((layer, float(by_db)) for layer, by_db in body.levels),
    )


def keep_recipe(house: House, body: RecipeBody) -> str:
    """Write an option among the user's own recipes, where every command finds it.

    Gives what it is called.

    Raises
    ------
    SegueError
        If the name is none or taken, or nothing can be written there.
    """
    own, name = house.rules.own_recipes, body.name.strip()
    if own is None:
        raise SegueError("This desk has no folder for recipes of your own.")
    if name.lower() in (one.name.lower() for one in all_recipes(own=own).recipes):
        raise OptionError(f"There is a recipe '{name}' already: give another name.")
    folder, changes = house.folder.inside(body.run), changes_of(body)
    recipe = own_recipe(folder, body.option, changes, name=name, own_recipes=own)
    own.mkdir(parents=True, exist_ok=True)
    path = own / f"{safe_name(name, fallback='recipe')}.toml"
    write_recipe(recipe, path, comment=f"Option {body.option} of {folder.name}, kept at the desk.")
    return name
