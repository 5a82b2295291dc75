"""Bars from beats: how late each is, how the band drifts, and where it broke.

References
----------
.. [FS95] A. Friberg and J. Sundberg, "Time discrimination in a monotonic, isochronous
   sequence", J. Acoust. Soc. Am. 98(5), 1995, 2524-2531.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from segue.review.moves import (
    SAME_CENTS,
    BarPlace,
    BarTiming,
    Break,
    Clock,
    TimeLine,
    TimeMove,
    time_line,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from segue.arrays import Flags, Floats
    from segue.plan.plan import BarLine, Plan
    from segue.review.align import Alignment


JUST_NOTICED_MS: Final = 6.0
"""Displacement of one event in a steady sequence of notes under 240 ms apart [FS95]_."""
FLAM_MS: Final = 40.0
"""What is further apart is heard as two strokes (30 to 40 ms, from memory)."""
HEARD_AGREEMENT: Final = 0.25
"""Beats that agree less tell nothing of their time (by judgement)."""
CLEAR_AGREEMENT: Final = 0.35
"""Bars with drums agree more, also when another band plays them (`benchmarks/review_bands.py`)."""
WEAK_AGREEMENT: Final = 0.28
"""Bars that agree so much and not more tell no more than that they are far off (this and the next
chosen on the seeds of `benchmarks/review.py` that are for tuning)."""
_LEAST_WEAK_MS: Final = 60.0  # from here on far off; chosen on the same
LOST_AGREEMENT: Final = 0.12
"""A bar whose onsets agree less is not the plan's, where the plan has onsets (by judgement)."""
STRUCK: Final = 0.6
"""Of the middle strength of all beats: drums do, a pad does not (chosen on the demo songs)."""
CENTS_AN_OCTAVE: Final = 1200.0  # twelve semitones of a hundred
# A speed that would move the pitch by less is the band's; by judgement
_LEAST_RECORDER_CENTS: Final = 0.8
_SPEED_WEIGHT: Final = 0.75
"""Of the speed against the pitch, where they agree: by the squares of their errors over the
takes of `benchmarks/_review_damage.py`."""
_LEAST_LINE_BARS: Final = 6  # fewer bars give no better speed than their beats; by judgement
_LEAST_BEATS: Final = 4  # fewer heard beats give no line of time; by judgement
_FASTEST: Final = 0.02
"""Neither recorders nor bands drift by more: pairs of beats across a pause are left
out (by judgement)."""
_LEAST_SHARE: Final = 0.5  # of a bar's beats that must be heard for it to be told; by judgement
_FIRST_BEATS: Final = 8  # the take is placed by so many; by judgement
_SAME_S: Final = 1e-3  # for rounding at a bar line; by judgement


BarShift: TypeAlias = "Callable[[tuple[float, float]], tuple[float, float] | None]"
"""From where a bar starts and ends in the render to where it starts in the recording, and how
well its own onsets agree there."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timing:
    """The take's clock, its bars, what happened to its time, and the beats they come from."""

    clock: Clock
    bars: tuple[BarTiming, ...]
    moves: tuple[TimeMove, ...]
    spread_ms: float
    offset_s: float
    heard_plan_s: Floats
    heard_take_s: Floats

    def take_s_at(self, plan_s: float) -> float:
        """Time in the recording of a time of the render, between the beats that are heard."""
        recorder = self.clock.recorder_ratio
        offsets_s = self.heard_take_s - recorder * self.heard_plan_s
        return recorder * plan_s + float(np.interp(plan_s, self.heard_plan_s, offsets_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """A bar while it is told: its place in the plan and what is heard of it."""

    line: BarLine
    start_s: float
    end_s: float
    agreement: float
    is_struck: bool
    is_heard: bool
    own_s: float | None


def timing_of(alignment: Alignment, plan: Plan, tuning_cents: float, shift_of: BarShift) -> Timing:
    """How late the bars are, and whose the speed is.

    Parameters
    ----------
    tuning_cents : float
        How far the recording is above the render.
    shift_of : callable
        Where a bar starts in the recording by its own onsets; see `BarShift`.
    """
    heard = alignment.agreement >= HEARD_AGREEMENT
    if heard.sum() < _LEAST_BEATS:
        heard = np.ones(len(alignment.plan_s), dtype=bool)
    at_s, take_s = alignment.plan_s[heard], alignment.take_s[heard]
    found = _bars_heard(plan, alignment, heard, shift_of)
    line = time_line(_clear_places(found))
    is_moved = bool(line.moves) and line.n_bars >= _LEAST_LINE_BARS
    speed = 1 + line.slope if is_moved else _slope(at_s, take_s)
    recorder = recorder_ratio(speed, tuning_cents)
    moved_s = np.array([_moved_s(line, found, float(s)) for s in at_s])
    grid_s = float(np.median(take_s - recorder * at_s - moved_s))
    late_s = (take_s - grid_s) / recorder - at_s
    bars = tuple(_told(bar, at_s, late_s, (grid_s, recorder)) for bar in found)
    known = [bar.late_ms for bar in bars if bar.late_ms is not None]
    return Timing(
        clock=Clock(
            speed_ratio=speed,
            tuning_cents=tuning_cents,
            recorder_ratio=recorder,
            drift_ms_a_minute=60_000 * (speed / recorder - 1),
        ),
        bars=bars,
        moves=tuple(sorted((*line.moves, *_weak_moves(bars)), key=lambda move: move.bar)),
        spread_ms=float(np.sqrt(np.mean(np.square(known)))) if known else 0.0,
        offset_s=float(np.median((take_s - recorder * at_s)[:_FIRST_BEATS])),
        heard_plan_s=at_s,
        heard_take_s=take_s,
    )


def _clear_places(found: Sequence[_Bar]) -> list[BarPlace]:
    """The bars that tell their own time."""
    return [
        BarPlace(
            number=bar.line.number,
            start_s=bar.start_s,
            end_s=bar.end_s,
            late_ms=1000 * (bar.own_s - bar.start_s),
        )
        for bar in found
        if bar.own_s is not None and bar.agreement >= CLEAR_AGREEMENT
    ]


def _weak_moves(bars: Sequence[BarTiming]) -> Iterator[TimeMove]:
    """Bars too faint to be in the line, far off the told bars on both sides, which agree."""
    told = [(bar, bar.late_ms) for bar in bars if bar.late_ms is not None]
    for (before, before_ms), (bar, late_ms), (after, after_ms) in zip(
        told, told[1:], told[2:], strict=False
    ):
        is_weak = WEAK_AGREEMENT <= bar.agreement < CLEAR_AGREEMENT
        is_alike = before.section == after.section and abs(before_ms - after_ms) < FLAM_MS
        off_ms = late_ms - (before_ms + after_ms) / 2
        if is_weak and is_alike and abs(off_ms) > _LEAST_WEAK_MS:
            yield TimeMove(kind="once", bar=bar.number, size_ms=off_ms)


def _moved_s(line: TimeLine, found: Sequence[_Bar], at_s: float) -> float:
    """Seconds that what happened before a time of the render has moved it by."""
    total = 0.0
    for move in line.moves:
        start_s, end_s = next(
            (bar.start_s, bar.end_s) for bar in found if bar.line.number == move.bar
        )
        if move.kind == "tempo":
            total += (move.ratio - 1) * (1 + line.slope) * max(at_s - start_s, 0.0)
        elif at_s >= start_s - _SAME_S and (move.kind == "step" or at_s < end_s - _SAME_S):
            total += move.size_ms / 1000
    return total


def recorder_ratio(speed_ratio: float, tuning_cents: float) -> float:
    """The part of a speed that a recorder's clock explains.

    A clock that runs off moves speed and pitch by one ratio; a band that drifts moves the
    speed alone.

    Parameters
    ----------
    speed_ratio : float
        Seconds of the recording to one of the plan.
    tuning_cents : float
        How far the recording is above the render.

    Returns
    -------
    float
        1 where the pitch did not move along. Where it moved along within `SAME_CENTS`, three
        quarters of what the speed tells and one of what the pitch tells: the weights that
        suit their errors. So of a band's drift that is too small for the pitch to show,
        three quarters are laid to the clock; `Clock.is_either` says where that may be.

    Examples
    --------
    >>> round(recorder_ratio(1.005, -8.6), 4), recorder_ratio(1.005, 0.4)
    (1.005, 1.0)
    """
    expected_cents = -CENTS_AN_OCTAVE * math.log2(speed_ratio)
    if abs(expected_cents) < _LEAST_RECORDER_CENTS:
        return 1.0
    apart_cents = abs(tuning_cents - expected_cents)
    if apart_cents < SAME_CENTS:
        clock_cents = _SPEED_WEIGHT * expected_cents + (1 - _SPEED_WEIGHT) * tuning_cents
        return math.exp2(-clock_cents / CENTS_AN_OCTAVE)
    return speed_ratio if apart_cents < abs(tuning_cents) else 1.0


def break_of(bars: Sequence[BarTiming], moves: Sequence[TimeMove]) -> Break | None:
    """The first bar that jumps off the grid for good, or whose onsets are not the plan's.

    A bar is lost only between two of its section that are clearly heard: a free introduction
    agrees with nothing for long.
    """
    breaks = [Break(bar=m.bar, step_ms=m.size_ms) for m in moves if m.kind == "step"]
    breaks += [
        Break(bar=bar.number, step_ms=None)
        for index, bar in enumerate(bars)
        if _is_lost(bars, index)
    ]
    return min(breaks, key=lambda b: b.bar, default=None)


def _is_clear(bar: BarTiming) -> bool:
    return bar.late_ms is not None and bar.agreement >= CLEAR_AGREEMENT


def _is_lost(bars: Sequence[BarTiming], index: int) -> bool:
    bar = bars[index]
    if not bar.is_struck or bar.agreement >= LOST_AGREEMENT or not 0 < index < len(bars) - 1:
        return False
    return all(
        _is_clear(near) and near.section == bar.section
        for near in (bars[index - 1], bars[index + 1])
    )


def _bars_heard(
    plan: Plan, alignment: Alignment, heard: Flags, shift_of: BarShift
) -> tuple[_Bar, ...]:
    """What is heard of each bar."""
    at_s = alignment.plan_s[heard]
    starts_s = [plan.seconds_at(line.beat) for line in plan.bar_lines]
    bars = []
    for line, start_s, end_s in zip(
        plan.bar_lines, starts_s, [*starts_s[1:], plan.duration_s], strict=True
    ):
        mine = (at_s > start_s - _SAME_S) & (at_s < end_s - _SAME_S)
        all_of_it = (alignment.plan_s > start_s - _SAME_S) & (alignment.plan_s < end_s - _SAME_S)
        is_there = bool(all_of_it.any())
        agreement = float(np.mean(alignment.agreement[all_of_it])) if is_there else 0.0
        is_heard = bool(mine.any() and mine.sum() >= _LEAST_SHARE * all_of_it.sum())
        own = shift_of((start_s, end_s)) if is_heard else None
        bars.append(
            _Bar(
                line=line,
                start_s=start_s,
                end_s=end_s,
                agreement=max(agreement, 0.0),
                is_struck=is_there and bool(np.mean(alignment.struck[all_of_it]) > STRUCK),
                is_heard=is_heard,
                own_s=own[0] if own is not None and own[1] >= CLEAR_AGREEMENT else None,
            )
        )
    return tuple(bars)


def _told(bar: _Bar, at_s: Floats, late_s: Floats, grid: tuple[float, float]) -> BarTiming:
    """A bar by its own onsets, or by the mean of its beats; `grid` is where 0 is, and the rate."""
    mine = (at_s > bar.start_s - _SAME_S) & (at_s < bar.end_s - _SAME_S)
    of_bar_s = None
    if bar.own_s is not None:
        of_bar_s = (bar.own_s - grid[0]) / grid[1] - bar.start_s
    elif bar.is_heard:
        of_bar_s = float(np.mean(late_s[mine]))
    between_s = float(np.interp(bar.start_s, at_s, late_s)) if of_bar_s is None else of_bar_s
    return BarTiming(
        number=bar.line.number,
        section=bar.line.section,
        plan_s=bar.start_s,
        time_s=grid[0] + grid[1] * (bar.start_s + between_s),
        late_ms=None if of_bar_s is None else 1000 * of_bar_s,
        agreement=bar.agreement,
        is_struck=bar.is_struck,
    )


def _slope(x: Floats, y: Floats) -> float:
    """Slope of the line through most of the points (middle of the slopes of all pairs)."""
    left, right = np.triu_indices(len(x), k=max(len(x) // 4, 1))
    slopes = (y[right] - y[left]) / (x[right] - x[left])
    likely = slopes[np.abs(slopes - 1) < _FASTEST]
    return float(np.median(likely if len(likely) else slopes))
