"""A recipe laid out in bars for songs that are not known yet: for checks and drawings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, assert_never

from segue.recipes.position import Position

if TYPE_CHECKING:
    from segue.recipes.position import Breakpoint
    from segue.recipes.recipe import Recipe, RecipeLayer

SOUNDLESS: Final = ("click", "cue")
"""Sources that only the players hear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Bars counted from the exit.

    Parameters
    ----------
    n_bars : int
        Of the interlude.
    outer_bars : int
        Of either song.
    """

    n_bars: int
    outer_bars: int = 8

    @property
    def first_bar(self) -> float:
        """Where the candidate starts."""
        return -float(self.outer_bars)

    @property
    def last_bar(self) -> float:
        """Where it ends."""
        return float(self.n_bars + self.outer_bars)

    def bar_of(self, position: Position) -> float:
        """Bar of a position, from the exit."""
        match position.anchor:
            case "start":
                return self.first_bar + position.bars
            case "exit":
                return position.bars
            case "entry":
                return self.n_bars + position.bars
            case "end":
                return self.last_bar + position.bars
            case _:
                assert_never(position.anchor)

    def value_at(self, curve: tuple[Breakpoint, ...], bar: float, *, empty: float) -> float:
        """Value of a curve at a bar, held flat outside its breakpoints; `empty` without any."""
        points = sorted(((self.bar_of(p.at), p.value) for p in curve), key=lambda point: point[0])
        if not points or bar <= points[0][0]:
            return points[0][1] if points else empty
        for (left, low), (right, high) in pairwise(points):
            if bar < right:
                return low + (high - low) * (bar - left) / (right - left)
        return points[-1][1]

    def sounds(self, layer: RecipeLayer, bar: float, *, above_db: float) -> bool:
        """Whether the room hears a layer at a bar, its gain above a level."""
        if layer.source in SOUNDLESS:
            return False
        if not self.bar_of(layer.start) <= bar < self.bar_of(layer.end):
            return False
        return self.value_at(layer.gain_db, bar, empty=0.0) > above_db

    def plays(self, recipe: Recipe, layer: RecipeLayer, bar: float) -> bool:
        """Whether a song's layer still has music at a bar, and does not merely ring."""
        if layer.source != "outgoing" or layer.loop_bars:
            return True
        length = recipe.length
        carried = self.n_bars if length.carry_bars < 0 else min(length.carry_bars, self.n_bars)
        return bar < carried + length.overlap_bars

    def place_of(self, bar: float) -> str:
        """A bar in a recipe's words, from the nearest of exit and entry."""
        if abs(bar) <= abs(bar - self.n_bars):
            return str(Position(anchor="exit", bars=bar))
        return str(Position(anchor="entry", bars=bar - self.n_bars))
