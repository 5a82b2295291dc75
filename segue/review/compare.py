"""Two reviews of one transition: better or worse since last time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.errors import OptionError
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from segue.review.report import Review

Verdict = Literal["better", "worse", "same"]
_SAME_CENTS: Final = 5.0
"""Pitch of tones is told apart from about here (Moore 1973, from memory)."""
_SAME_DRIFT_MS: Final = 30.0  # ms a minute: drifts that differ by less are the same; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One number of two reviews; nearer to 0 is better.

    Parameters
    ----------
    verdict : {'better', 'worse', 'same'}
    """

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
        score = sum({"better": 1, "worse": -1, "same": 0}[c.verdict] for c in self.changes)
        return "better" if score > 0 else "worse" if score < 0 else "same"


def compared(now: Review, before: Review) -> Comparison:
    """What got better and what worse.

    Parameters
    ----------
    now, before : Review
        Of the same transition.

    Raises
    ------
    OptionError
        If they are of different transitions.
    """
    ours, theirs = ((r.from_title, r.to_title, r.recipe) for r in (now, before))
    if ours != theirs:
        raise OptionError(
            f"the earlier review is of '{before.recipe}' from {before.from_title} to "
            f"{before.to_title}, this one of '{now.recipe}' from {now.from_title} to "
            f"{now.to_title}: compare takes of one transition."
        )
    changes = [
        _change("bars off the grid", "ms", before.spread_ms, now.spread_ms, JUST_NOTICED_MS / 2),
        _change("drift", "ms a minute", before.clock.drift_ms_a_minute,
                now.clock.drift_ms_a_minute, _SAME_DRIFT_MS),
        _change("holes", "", len(before.holes), len(now.holes), 0),
        _change("faults", "", len(before.faults), len(now.faults), 0),
        _change("breaks", "", int(before.broke is not None), int(now.broke is not None), 0),
    ]  # fmt: skip
    if now.singer is not None and before.singer is not None:
        changes += [
            _change("singer's entry", "ms", before.singer.late_ms, now.singer.late_ms,
                    2 * JUST_NOTICED_MS),
            _change("first note", "cents", before.singer.cents, now.singer.cents, _SAME_CENTS),
        ]  # fmt: skip
    return Comparison(earlier_take=before.take, changes=tuple(changes))


def _change(name: str, unit: str, before: float, now: float, same: float) -> Change:
    nearer = abs(before) - abs(now)
    verdict: Verdict = "same" if abs(nearer) <= same else "better" if nearer > 0 else "worse"
    return Change(name=name, unit=unit, before=float(before), now=float(now), verdict=verdict)
