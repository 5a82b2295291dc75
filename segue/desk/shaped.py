"""Shaping one option: its layers, chords, pad and bars, each change a version beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from annotated_types import MaxLen

from segue.api.changing import change, redo, undo
from segue.audio.write import packed
from segue.desk.orders import Name, Words  # noqa: TC001 - pydantic reads the types
from segue.job.changes import Changes
from segue.job.draft import make_draft
from segue.recipes.changed_recipe import is_the_song

if TYPE_CHECKING:
    from segue.desk.house import House
    from segue.runfolder import CandidateRecord

MOST_LAYERS = 32  # layers that a change may name; far beyond use


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeBody:
    """Changes an option; what is left out stays as it is.

    Parameters
    ----------
    option : str
        '2', or a version such as '2b'.
    levels : tuple of (str, float)
        Layers and by how many decibels they are louder or softer.
    """

    run: Name
    option: Annotated[str, MaxLen(10)]
    bars: int | None = None
    chords: Words | None = None
    pad: Annotated[str, MaxLen(20)] | None = None
    without: Annotated[tuple[Words, ...], MaxLen(MOST_LAYERS)] = ()
    levels: Annotated[tuple[tuple[Words, float | int], ...], MaxLen(MOST_LAYERS)] = ()


def shape(house: House, body: ChangeBody) -> str:
    """Make a version of an option.

    Returns
    -------
    str
        What it is called, such as '2b'.

    Raises
    ------
    SegueError
        If something cannot be done; then the run is as it was.
    """
    folder = house.folder.inside(body.run)
    own = house.rules.own_recipes
    return change(folder, body.option, changes_of(body), own_recipes=own).label


def rough(house: House, body: ChangeBody) -> tuple[bytes, float]:
    """A draft of a change: the bridge and a few seconds around it, and nothing is kept.

    Returns
    -------
    (bytes, float)
        Music as FLAC, and where it begins, in seconds of the whole version.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    folder = house.folder.inside(body.run)
    own = house.rules.own_recipes
    drafted = make_draft(folder, body.option, changes_of(body), own_recipes=own)
    return packed(drafted.music), drafted.starts_s


def changes_of(body: ChangeBody) -> Changes:
    """What was sent, as the commands take it."""
    return Changes(
        n_bars=body.bars,
        chords=body.chords or None,
        pad=body.pad or None,
        without=body.without,
        levels=tuple((layer, float(by_db)) for layer, by_db in body.levels),
    )


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
