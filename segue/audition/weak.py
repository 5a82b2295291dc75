"""The weak places of a candidate: where which measure was worst."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from segue.runfolder import CandidateRecord
    from segue.score.scorecard import Measure

WEAK_SCORE: Final = 0.75
"""Measures below it are shown on the timeline. Chosen by eye."""

MOST_PLACES: Final = 6
"""More marks than that are no help. Chosen by eye."""

_SAME_S: Final = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakPlace:
    """A place worth hearing again.

    Parameters
    ----------
    number : int
        From 1, in order of time.
    time_s : float
        In the candidate.
    bar : int
        Number of the bar it lies in.
    from_s : float
        Start of the bar before it, to hear it coming.
    measure : Measure
    """

    number: int
    time_s: float
    bar: int
    from_s: float
    measure: Measure


def weak_places(record: CandidateRecord) -> tuple[WeakPlace, ...]:
    """The places of the lowest marks, in order of time.

    Parameters
    ----------
    record : CandidateRecord

    Returns
    -------
    tuple of WeakPlace
        At most `MOST_PLACES`; empty if nothing scored below `WEAK_SCORE`.
    """
    plan = record.plan
    placed = [
        (plan.seconds_at(m.worst_beat), m)
        for m in sorted(record.scorecard.measures, key=lambda m: m.score)
        if m.score < WEAK_SCORE and m.worst_beat is not None
    ][:MOST_PLACES]
    return tuple(
        _place(record, number, time_s, measure)
        for number, (time_s, measure) in enumerate(sorted(placed, key=lambda p: p[0]), start=1)
    )


def _place(record: CandidateRecord, number: int, time_s: float, measure: Measure) -> WeakPlace:
    begun = [bar for bar in record.bars if bar.time_s <= time_s + _SAME_S]
    return WeakPlace(
        number=number,
        time_s=time_s,
        bar=begun[-1].number if begun else 0,
        from_s=begun[-2].time_s if len(begun) > 1 else 0.0,
        measure=measure,
    )
