"""Two reviews of one transition: better or worse since last time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.errors import OptionError
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from segue.review.report import Rehearsal

Verdict = Literal["better", "worse", "same"]
# of bars off the grid: no band tells these apart; by judgement
SAME_SPREAD_MS: Final = JUST_NOTICED_MS / 2
SAME_ENTRY_MS: Final = 2 * JUST_NOTICED_MS  # of a voice, whose attack is soft; by judgement
SAME_CENTS: Final = 5.0
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
