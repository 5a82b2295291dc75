"""Several reviews of one join: two against each other, and many over weeks.

The line through a number of many takes is the middle of the slopes of all pairs [S68]_, so that one
evening on which nothing went right does not turn it.

References
----------
.. [S68] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
   Assoc. 63(324), 1968, 1379-1389.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.errors import OptionError
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from segue.review.report import Rehearsal

Verdict = Literal["better", "worse", "same"]
# of bars off the grid: no band tells these apart; by judgement
SAME_SPREAD_MS: Final = JUST_NOTICED_MS / 2
SAME_ENTRY_MS: Final = 2 * JUST_NOTICED_MS  # of a voice, whose attack is soft; by judgement
SAME_CENTS: Final = 5.0
"""Pitch of tones is told apart from about here (Moore 1973, from memory)."""
_SAME_DRIFT_MS: Final = 30.0  # ms a minute: drifts that differ by less are the same; by judgement
_LEAST: Final = 2  # reviews that make a line; by judgement
_MOST_TOLD: Final = 8  # numbers of a line that are printed: the latest; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One number of two reviews; nearer to 0 is better."""

    name: str
    unit: str
    before: float
    now: float
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A review against an earlier one."""

    earlier_take: str
    changes: tuple[Change, ...]

    @property
    def verdict(self) -> Verdict:
        """Better where more numbers got better than worse."""
        return _most(change.verdict for change in self.changes)


def compared(now: Rehearsal, before: Rehearsal) -> Comparison:
    """What got better and what worse in the best try of each.

    Parameters
    ----------
    now, before : Rehearsal
        Of the same transition.

    Raises
    ------
    OptionError
        If they are of different transitions.
    """
    ours, theirs = now.best_try, before.best_try
    if _what(now) != _what(before):
        raise OptionError(
            f"the earlier review is of '{theirs.recipe}' from {before.from_title} to "
            f"{before.to_title}, this one of '{ours.recipe}' from {now.from_title} to "
            f"{now.to_title}: compare takes of one transition."
        )
    changes = [
        _change("bars off the grid", "ms", theirs.spread_ms, ours.spread_ms, SAME_SPREAD_MS),
        _change("drift", "ms a minute", theirs.clock.drift_ms_a_minute,
                ours.clock.drift_ms_a_minute, _SAME_DRIFT_MS),
        _change("holes", "", len(theirs.holes), len(ours.holes), 0),
        _change("faults", "", len(theirs.faults), len(ours.faults), 0),
        _change("breaks", "", int(theirs.broke is not None), int(ours.broke is not None), 0),
    ]  # fmt: skip
    if ours.singer is not None and theirs.singer is not None:
        changes += [
            _change("singer's entry", "ms", theirs.singer.late_ms, ours.singer.late_ms,
                    SAME_ENTRY_MS),
            _change("first note", "cents", theirs.singer.cents, ours.singer.cents, SAME_CENTS),
        ]  # fmt: skip
    return Comparison(earlier_take=before.take, changes=tuple(changes))


def _what(rehearsal: Rehearsal) -> tuple[str, str, str]:
    """Which transition a recording is of."""
    return rehearsal.from_title, rehearsal.to_title, rehearsal.best_try.recipe


def _change(name: str, unit: str, before: float, now: float, same: float) -> Change:
    nearer = abs(before) - abs(now)
    verdict: Verdict = "same" if abs(nearer) <= same else "better" if nearer > 0 else "worse"
    return Change(name=name, unit=unit, before=float(before), now=float(now), verdict=verdict)


def _most(verdicts: Iterable[Verdict]) -> Verdict:
    score = sum({"better": 1, "worse": -1, "same": 0}[verdict] for verdict in verdicts)
    return "better" if score > 0 else "worse" if score < 0 else "same"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendLine:
    """One number of every review, in the order of the days; nearer to 0 is better.

    Parameters
    ----------
    values : tuple of (float or None)
        None where a take did not tell it.
    same : float
        A change over all of them that is no larger is none.
    """

    name: str
    unit: str
    values: tuple[float | None, ...]
    same: float

    @property
    def change(self) -> float:
        """From the first to the last along the line; negative is better."""
        known = [(n, abs(v)) for n, v in enumerate(self.values) if v is not None]
        slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.combinations(known, 2)]
        return float(np.median(slopes)) * (known[-1][0] - known[0][0]) if slopes else 0.0

    @property
    def verdict(self) -> Verdict:
        """Whether it is getting better."""
        if abs(self.change) <= self.same:
            return "same"
        return "better" if self.change < 0 else "worse"

    @property
    def words(self) -> str:
        """Its latest numbers and what they come to: "bars off the grid: 24, 18, 9 ms, better"."""
        told = ["?" if v is None else f"{round(v) + 0.0:.0f}" for v in self.values[-_MOST_TOLD:]]
        before = "…, " if len(self.values) > _MOST_TOLD else ""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.name}: {before}{', '.join(told)}{unit}, {self.verdict}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Reviews of one join, the oldest first, and what they come to.

    Parameters
    ----------
    reviews : tuple of Rehearsal
        At least two.
    """

    reviews: tuple[Rehearsal, ...]
    lines: tuple[TrendLine, ...]

    @property
    def verdict(self) -> Verdict:
        """Better where more lines get better than worse."""
        return _most(line.verdict for line in self.lines)

    @property
    def words(self) -> str:
        """What they come to, as a sentence without its full stop."""
        days = self.reviews[0].recorded_on, self.reviews[-1].recorded_on
        when = f"from {days[0]} to {days[1]}" if days[0] != days[1] else f"of {days[0]}"
        told = {"better": "getting better", "worse": "getting worse", "same": "about the same"}
        return f"{len(self.reviews)} takes {when}: {told[self.verdict]}"


def trend_of(reviews: Sequence[Rehearsal], now: Rehearsal) -> Trend | None:
    """What the reviews of one join come to, whichever option was played.

    Parameters
    ----------
    reviews : sequence of Rehearsal
        Earlier ones; those of other joins, and one of the same take, are left out.

    Returns
    -------
    Trend or None
        None where there is no earlier one of this join.
    """
    pair = (now.from_title, now.to_title)
    mine = [r for r in reviews if (r.from_title, r.to_title) == pair and r.take != now.take]
    mine = sorted([*mine, now], key=_when)
    if len(mine) < _LEAST:
        return None
    best = [r.best_try for r in mine]
    singers = [b.singer if b.singer is not None and b.singer.is_sure else None for b in best]
    lines = (
        TrendLine(
            name="to practise", unit="", values=tuple(len(b.findings) for b in best), same=0.0
        ),
        TrendLine(
            name="bars off the grid",
            unit="ms",
            values=tuple(b.spread_ms for b in best),
            same=SAME_SPREAD_MS,
        ),
        TrendLine(
            name="singer's entry",
            unit="ms",
            values=tuple(None if s is None else s.late_ms for s in singers),
            same=SAME_ENTRY_MS,
        ),
        TrendLine(
            name="first note",
            unit="cents",
            values=tuple(None if s is None else s.cents for s in singers),
            same=SAME_CENTS,
        ),
    )
    told = tuple(line for line in lines if any(v is not None for v in line.values))
    return Trend(reviews=tuple(mine), lines=told)


def _when(review: Rehearsal) -> tuple[str, str, tuple[tuple[int, str], ...]]:
    return review.recorded_on, review.recorded_at, _in_numbers(review.take)


def _in_numbers(name: str) -> tuple[tuple[int, str], ...]:
    """For an order in which take 10 comes after take 9."""
    parts = ["".join(group) for _, group in itertools.groupby(name, str.isdecimal)]
    return tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts)
