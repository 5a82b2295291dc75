"""Time maps: which second of a song sounds at which second of the plan.

Between key frames the song's time runs evenly. A stretch of key frames over
which the song and the plan advance by the same seconds is *steady*: its audio
is copied frame for frame. Everything else is stretched with its pitch kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.plan.layer import MapPoint
    from segue.plan.plan import Plan

STEADY_WITHIN_S: Final = 10e-6
"""Key frames count as steady while they stay this close to one offset: half a frame at 48 kHz."""
STEADY_AT_LEAST_S: Final = 0.25
"""Shorter steady stretches are not worth their two joins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A part of a time map that is copied or stretched as a whole.

    Parameters
    ----------
    start_s, end_s : float
        In plan seconds.
    offset_s : float or None
        Song second minus plan second where steady; None where stretched.
    """

    start_s: float
    end_s: float
    offset_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TimeMap:
    """Song seconds over plan seconds, straight between key frames.

    Parameters
    ----------
    plan_s, source_s : ndarray, shape (n_points,)
        Ascending, at least two. Outside, the first and last slope continue.
    """

    plan_s: Floats
    source_s: Floats

    def source_at(self, plan_s: Floats) -> Floats:
        """Song seconds at plan seconds."""
        return _through(plan_s, self.plan_s, self.source_s)

    def plan_at(self, source_s: Floats) -> Floats:
        """Plan seconds at song seconds; inverse of `source_at`."""
        return _through(source_s, self.source_s, self.plan_s)

    def spans(self) -> tuple[Span, ...]:
        """Steady and stretched parts, in order, from the first key frame to the last."""
        spans: list[Span] = []
        first = 0
        while first < len(self.plan_s) - 1:
            last, steady = self._run_from(first)
            start_s, end_s = float(self.plan_s[first]), float(self.plan_s[last])
            offset_s = float(self.source_s[first]) - start_s if steady else None
            if offset_s is None and spans and spans[-1].offset_s is None:
                start_s = spans.pop().start_s
            spans.append(Span(start_s=start_s, end_s=end_s, offset_s=offset_s))
            first = last
        return tuple(spans)

    def _run_from(self, first: int) -> tuple[int, bool]:
        """Last key frame of the run from `first` on, and whether it is steady."""
        offsets = self.source_s[first:] - self.plan_s[first:]
        off = np.flatnonzero(np.abs(offsets - offsets[0]) > STEADY_WITHIN_S)
        last = first + (int(off[0]) - 1 if len(off) else len(offsets) - 1)
        if last > first and self.plan_s[last] - self.plan_s[first] >= STEADY_AT_LEAST_S:
            return last, True
        return max(last, first + 1), False


def time_map_of(points: tuple[MapPoint, ...], plan: Plan) -> TimeMap:
    """A layer's key frames in plan seconds."""
    return TimeMap(
        plan_s=np.array([plan.seconds_at(point.beat) for point in points]),
        source_s=np.array([point.source_s for point in points]),
    )


def _through(x: Floats, xs: Floats, ys: Floats) -> Floats:
    """Straight lines through points; the first and last continue outside."""
    index = np.clip(np.searchsorted(xs, x, side="right") - 1, 0, len(xs) - 2)
    slope = (ys[index + 1] - ys[index]) / (xs[index + 1] - xs[index])
    result: Floats = ys[index] + (x - xs[index]) * slope
    return result
