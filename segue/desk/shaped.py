"""Shaping one option: its layers, chords, pad and bars, each change a version beside it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Annotated

from annotated_types import MaxLen

from segue.api.changing import redo, undo
from segue.audition.limits import RequestRefusalError
from segue.desk.orders import Name, Words  # noqa: TC001 - pydantic reads the types
from segue.desk.own_folder import safe_name
from segue.desk.rough_option import DraftOrder
from segue.errors import OptionError, SegueError
from segue.job.changes import Changes
from segue.job.own_recipe import own_recipe, write_recipe
from segue.job.version import VersionOrder
from segue.plan.grid import SAME_BEAT
from segue.recipes import all_recipes
from segue.recipes.changed_recipe import is_the_song
from segue.recipes.rules import LONGEST_TEXT

if TYPE_CHECKING:
    from concurrent.futures import Future

    from segue.desk.house import House
    from segue.desk.rough_option import RoughSound
    from segue.music.tempo import TempoSpan
    from segue.runfolder import CandidateRecord

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
    """Keeps an option, changed or as it is, as a recipe.

    Parameters
    ----------
    name : str
        Of the recipe.
    """

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

    Returns
    -------
    str
        What it is called.

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


def take_back(house: House, run: str) -> str:
    """Take back the latest version of a run; its name."""
    return undo(house.folder.inside(run)).label


def bring_back(house: House, run: str) -> str:
    """Bring back the version that was taken back last; its name."""
    return redo(house.folder.inside(run)).label


def layers_of(record: CandidateRecord) -> tuple[str, ...]:
    """Names of the layers of a bridge that can be changed; none of runs made before there were."""
    if record.made is None:
        return ()
    layers = record.made.recipe.layers
    kept = (x for x in layers if not is_the_song(x) and x.source not in ("click", "cue"))
    return tuple(dict.fromkeys(x.name or x.source for x in kept))


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoWay:
    """How the tempo goes through a bridge that has a ramp.

    Parameters
    ----------
    held, steady : int
        Bars at the old tempo before the ramp, and at the new one after it.
    old_bpm, new_bpm : float
        As the bridge counts them.
    """

    n_bars: int
    held: int
    steady: int
    old_bpm: float
    new_bpm: float


def tempo_way(record: CandidateRecord) -> TempoWay | None:
    """The ramp of an option that can be changed; None where there is none."""
    if record.made is None or record.made.recipe.tempo.move not in ("linear", "geometric"):
        return None
    plan, tempo = record.plan, record.made.recipe.tempo
    inside = [
        span
        for span, beat in zip(plan.tempo.spans, _beats_of(plan.tempo.spans), strict=True)
        if plan.exit_beat - SAME_BEAT <= beat < plan.entry_beat
    ]
    ramp = next((span for span in inside if span.start_bpm != span.end_bpm), None)
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    if ramp is None or n_bars < _LEAST_BARS:
        return None
    steady = min(tempo.steady_bars, n_bars - 1)
    return TempoWay(
        n_bars=n_bars,
        held=min(tempo.held_bars, n_bars - steady - 1),
        steady=steady,
        old_bpm=ramp.start_bpm,
        new_bpm=ramp.end_bpm,
    )


def _beats_of(spans: tuple[TempoSpan, ...]) -> tuple[float, ...]:
    """Where each span begins."""
    ends = tuple(accumulate(span.n_beats for span in spans))
    return (0.0, *ends[:-1])


_LEAST_BARS = 2  # a bridge of one bar has no room to move a ramp in
