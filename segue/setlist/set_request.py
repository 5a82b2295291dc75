"""What a whole evening is asked to be, and whether that can be."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.audio.instrument import read_instrument
from segue.errors import InputError, OptionError, did_you_mean
from segue.recipes import all_recipes
from segue.setlist.evening_writer import is_of_evening
from segue.setlist.set_document import SET_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from segue.recipes import Recipe
    from segue.score import Purpose
    from segue.setlist.set_list import SetList


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRequest:
    """What `make_set` is asked to do.

    Parameters
    ----------
    out : Path
        The evening's folder.
    rate_hz, edge_s, recipes, own_recipes, purpose, own_weights, match, pad, seed
        Of every way across, as for `segue.job.request.Request`.
    replace : bool
        Whether runs with votes in them may be replaced.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    """

    set_list: SetList
    out: Path
    rate_hz: int = 48_000
    edge_s: float = 45.0
    recipes: Path | None = None
    own_recipes: Path | None = None
    purpose: Purpose | None = None
    own_weights: Mapping[str, float] | None = None
    match: bool = False
    pad: Path | None = None
    seed: int = 0
    replace: bool = False
    cached: bool = True

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
    known = {recipe.name for recipe in request.shelf}
    for song in request.set_list.songs:
        if song.recipe is not None and song.recipe not in known:
            raise OptionError(
                f"'{song.recipe}' after '{song.title}' is no recipe: there are "
                f"{', '.join(sorted(known))}.{did_you_mean(song.recipe, known)}"
            )
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
