"""Places in a recipe, in bars from four anchors, and values at them.

``"start"`` and ``"end"`` are those of the candidate, ``"exit"`` is where the
interlude starts and ``"entry"`` is bar one of the incoming song. A place is an
anchor and bars from it, such as ``"entry - 2"`` or ``"exit + 0.5"``. For checks and
drawings, recipes are laid out in bars for songs that are not known yet (`Axis`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, time
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal, assert_never, cast, get_args

if TYPE_CHECKING:
    from segue.recipes.recipe import Recipe, RecipeLayer


Anchor = Literal["start", "exit", "entry", "end"]
ANCHORS: Final[tuple[Anchor, ...]] = get_args(Anchor)
"""In the order in which they are played."""

MOST_BARS_AWAY: Final = 256
"""A place further than this from its anchor is a slip of the pen."""

POSITION_PATTERN: Final = (
    r"\s*(?:start\s*(?:\+\s*{n})?|(?:exit|entry)\s*(?:[+-]\s*{n})?|end\s*(?:-\s*{n})?)\s*"
).replace("{n}", r"(?:25[0-6]|2[0-4][0-9]|[01]?[0-9]?[0-9])(?:\.[0-9]{1,6})?")
"""Places inside the candidate as a regular expression without groups, for other languages too."""

_POSITION = re.compile(
    r"\s*(start|exit|entry|end)\s*(?:([+-])\s*(\d{1,9}(?:\.\d{1,6})?))?\s*", re.A
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place in the plan: an anchor and a number of bars from it."""

    anchor: Anchor
    bars: float = 0.0

    def __str__(self) -> str:
        if self.bars == 0:
            return self.anchor
        return f"{self.anchor} {'-' if self.bars < 0 else '+'} {abs(self.bars):g}"

    def is_surely_before(self, other: Position) -> bool:
        """Whether it comes before another place, however long the songs and the interlude are.

        Examples
        --------
        >>> exit_, entry = Position(anchor="exit"), Position(anchor="entry")
        >>> exit_.is_surely_before(entry)
        True
        >>> exit_.is_surely_before(Position(anchor="entry", bars=-8))
        False
        """
        if self.anchor == other.anchor:
            return self.bars < other.bars
        in_order = ANCHORS.index(self.anchor) < ANCHORS.index(other.anchor)
        return in_order and self.bars <= 0 <= other.bars


@dataclass(frozen=True, slots=True, kw_only=True)
class Breakpoint:
    """A value at a position."""

    at: Position
    value: float


def parse_position(text: str) -> Position:
    """Place that a text such as ``"entry - 2"`` names.

    Raises
    ------
    ValueError
        If the text is not an anchor with an optional number of bars, or names
        a place outside the candidate.

    Examples
    --------
    >>> parse_position("exit + 0.5")
    Position(anchor='exit', bars=0.5)
    """
    match = _POSITION.fullmatch(text)
    if match is None:
        raise ValueError(
            f"{shown(text)} is not a position; write an anchor ({', '.join(ANCHORS)}) "
            "and bars, such as 'entry - 2'"
        )
    anchor, sign, bars = match.groups()
    distance = float(bars or 0) * (-1 if sign == "-" else 1)
    if abs(distance) > MOST_BARS_AWAY:
        raise ValueError(f"{shown(text)} is more than {MOST_BARS_AWAY} bars from its anchor")
    if anchor == "start" and distance < 0:
        raise ValueError(f"{shown(text)} lies before the start of the segue")
    if anchor == "end" and distance > 0:
        raise ValueError(f"{shown(text)} lies after the end of the segue")
    return Position(anchor=cast("Anchor", anchor), bars=distance)


_LONGEST_SHOWN: Final = 40  # letters of a position that a sentence repeats


def shown(value: object) -> str:
    """A value as it is quoted in a sentence: on one line, long ones cut.

    Examples
    --------
    >>> shown("warmth"), shown(2.5), shown(True)
    ("'warmth'", '2.5', 'true')
    """
    match value:
        case bool():
            text = str(value).lower()
        case float():
            text = f"{value:g}"
        case date() | time():
            text = str(value)
        case _:
            text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."


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
