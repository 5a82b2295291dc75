"""Bar lines of the end of a song, named as a musician says where to leave and to enter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.analysis.facts import EdgeFacts
    from segue.plan.edges import SongEnd, SongStart
    from segue.plan.grid import BeatGrid

MOST_LINES: Final = 400  # bar lines that are drawn; far beyond use
_SAME_S: Final = 0.02  # two places nearer than this are one bar line
_BESIDE_S: Final = 0.12  # how far a fact may lie from the bar line it belongs to; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeBar:
    """A bar line of an end.

    Parameters
    ----------
    name : str
        Such as '-8' in the old song, '9' in the new one; empty where it has none.
    place : str
        As `segue.plan.places_asked` reads it.
    is_phrase : bool
        Whether a phrase starts there.
    level_lufs : float or None
        Of the bar that starts there; None where it was not measured.
    """

    time_s: float
    name: str
    place: str
    is_phrase: bool
    level_lufs: float | None


def old_lines(end: SongEnd) -> tuple[EdgeBar, ...]:
    """Bar lines of the old song, counted back from its last bar; none without beats."""
    grid, facts = end.grid, end.facts
    if not grid.is_heard or facts.ending is None:
        return ()
    line_s = facts.ending.last_bar_line_s
    last = grid.bar_line_before(
        grid.index_at(facts.ending.last_hit_s if line_s is None else line_s)
    )

    def name_of(index: int) -> str:
        number = (index - last) // grid.metre - 1
        return str(number) if number < 0 else ""

    return _lines(grid, facts, name_of)


def new_lines(start: SongStart) -> tuple[EdgeBar, ...]:
    """Bar lines of the new song, counted from its bar one; none where no beats were heard."""
    grid = start.grid
    if not grid.is_heard:
        return ()
    first = grid.bar_line_after(start.entry_index)

    def name_of(index: int) -> str:
        number = (index - first) // grid.metre + 1
        return str(number) if number > 0 else ""

    return _lines(grid, start.facts, name_of)


def _lines(grid: BeatGrid, facts: EdgeFacts, name_of: Callable[[int], str]) -> tuple[EdgeBar, ...]:
    index = grid.bar_line_after(grid.index_at(facts.edge_start_s))
    found: list[EdgeBar] = []
    while len(found) < MOST_LINES:
        time_s = grid.seconds_at(index)
        if time_s > facts.edge_end_s + _SAME_S:
            break
        name = name_of(index)
        bars = [b.level_lufs for b in facts.bars if abs(b.start_s - time_s) < _BESIDE_S]
        found.append(
            EdgeBar(
                time_s=time_s,
                name=name,
                place=f"bar {name}" if name else f"{max(time_s, 0.0):.2f}s",
                is_phrase=any(abs(s - time_s) < _BESIDE_S for s in facts.phrases.starts_s),
                level_lufs=bars[0] if bars else None,
            )
        )
        index += grid.metre
    return tuple(found)
