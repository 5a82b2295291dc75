"""What is told of the time: each bar, the clock, and a step, one late bar or another tempo.

How late the bars are is told as a straight line and as few events on it as will do: from a bar on
all is later (a step); one bar alone is late; from a bar on the tempo is another. Each event must
explain more than it costs, and large errors count by their size and not by its square, so that
one bar misheard makes no event of its neighbours [H64]_.

References
----------
.. [H64] P. J. Huber, "Robust estimation of a location parameter", Annals of Mathematical
   Statistics 35(1), 1964, 73-101.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.plan.plan import Section  # noqa: TC001 - read from JSON by these types

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Floats


MoveKind = Literal["step", "once", "tempo"]

_SCATTER_MS: Final = 6.0
"""Of bars in time about their line, on takes of `benchmarks/_review_damage.py`."""
_EVENT_COST: Final = 4.0
"""In units of the misfit below: what an event must explain to be one (chosen on the same)."""
_MOST_EVENTS: Final = 5  # in one take: more is a band that is all over the place; by judgement
_LEAST_BARS: Final = 4  # fewer give no line; by judgement
_LEAST_RUN: Final = 3  # bars on each side that tell a tempo from a late bar; by judgement
_RETURNS: Final = 0.5  # of a step that most bars after it must keep; by judgement
_ROUNDS: Final = 12  # of the weights of Huber's line [H64]_, which are settled by then
LEAST_STEP_MS: Final = 40.0
"""From here on two strokes are heard where one should be (30 to 40 ms, from memory)."""
LEAST_ONCE_MS: Final = 30.0
"""A bar that is off against both its neighbours is told from here: five times what is just
noticed of one event (`JUST_NOTICED_MS` of `timing`) (by judgement)."""
LEAST_TEMPO_RATIO: Final = 0.004
"""Another tempo is told from here; bands keep theirs within 0.2 to 0.3 % without a click on
takes of `benchmarks/_review_damage.py`."""
LEAST_TEMPO_MS: Final = 25.0  # that it must amount to at the end of the take; by judgement
_MS_A_SECOND: Final = 1000.0  # milliseconds in a second
SAME_CENTS: Final = 3.0
"""Speed and pitch that are nearer than this moved together: pitch is known no
better (by judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarTiming:
    """How a bar was played.

    Parameters
    ----------
    plan_s, time_s : float
        Where it starts in the candidate, and in the recording.
    late_ms : float or None
        Against the plan's grid, laid where it fits the whole take best; None where nothing
        is struck or the bar is not in the recording.
    agreement : float
        0 to 1: how well its onsets agree with the plan's.
    is_struck : bool
        Whether the plan has onsets there that tell the time.
    """

    number: int
    section: Section
    plan_s: float
    time_s: float
    late_ms: float | None
    agreement: float
    is_struck: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """Where the band fell apart or jumped off the grid.

    Parameters
    ----------
    step_ms : float or None
        Jump against the bar before; None where the bar's onsets are not the plan's at all.
    """

    bar: int
    step_ms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Speed, and whose it is.

    Parameters
    ----------
    speed_ratio : float
        Seconds of the recording to one of the plan.
    tuning_cents : float
        How far the recording is above the render.
    recorder_ratio : float
        The part of the speed that is the recorder's: it moves the pitch by the same ratio.
        1 where the pitch did not move along.
    drift_ms_a_minute : float
        How fast the band falls behind the plan, the recorder's part taken out.
    """

    speed_ratio: float
    tuning_cents: float
    recorder_ratio: float
    drift_ms_a_minute: float

    @property
    def slip_ms_a_minute(self) -> float:
        """How fast the recording falls behind the plan, whoever is the cause."""
        return 60_000 * (self.speed_ratio - 1)

    @property
    def is_either(self) -> bool:
        """Whether the pitch fits a band that drifts as well as a recorder that runs off."""
        expected_cents = -1200 * math.log2(self.speed_ratio)
        apart_cents = max(abs(self.tuning_cents), abs(self.tuning_cents - expected_cents))
        return apart_cents < SAME_CENTS


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeMove:
    """One thing that happened to the time.

    Parameters
    ----------
    bar : int
        From which it holds, or the one bar.
    size_ms : float
        Late is positive; of a tempo 0.
    ratio : float
        Of a tempo: seconds it takes to those that the same took before; else 1.
    """

    kind: MoveKind
    bar: int
    size_ms: float
    ratio: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BarPlace:
    """Where a bar is: its number, where it starts and ends in the plan, how late it is."""

    number: int
    start_s: float
    end_s: float
    late_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLine:
    """The line that the bars keep, and what happened on it.

    Parameters
    ----------
    slope : float
        Seconds late a second of the plan, before another tempo if there is one.
    n_bars : int
        How many the line is laid through.
    """

    slope: float
    moves: tuple[TimeMove, ...]
    n_bars: int


def time_line(bars: Sequence[BarPlace]) -> TimeLine:
    """Tell how late bars are by a line and few events.

    Parameters
    ----------
    bars : sequence of BarPlace
        Those that are clearly heard, in their order; how late is against any one speed.
    """
    if len(bars) < _LEAST_BARS:
        return TimeLine(slope=0.0, moves=(), n_bars=len(bars))
    y = np.array([bar.late_ms for bar in bars])
    columns = [np.ones(len(bars)), _middles_s(bars) - bars[0].start_s]
    chosen: list[tuple[MoveKind, int]] = []
    fitted = _fitted(columns, y)
    candidates = _candidates(bars)
    while len(chosen) < _MOST_EVENTS:
        tried = [
            (_fitted([*columns, column], y), key, column)
            for key, column in candidates
            if key not in chosen
        ]
        best = min(tried, key=lambda t: t[0][1], default=None)
        if best is None or fitted[1] - best[0][1] < _EVENT_COST:
            break
        fitted, key, column = best
        chosen.append(key)
        columns.append(column)
    return _told(bars, chosen, columns, y)


def _told(
    bars: Sequence[BarPlace],
    chosen: Sequence[tuple[MoveKind, int]],
    columns: Sequence[Floats],
    y: Floats,
) -> TimeLine:
    """Leave out the events that are too small to speak of, one by one, and fit the rest anew."""
    chosen, columns = list(chosen), list(columns)
    while True:
        weights, _ = _fitted(columns, y)
        sizes = weights[2:]
        over = [
            _size_over_least(kind, size, bars) if _stays(kind, index, size, bars) else 0.0
            for (kind, index), size in zip(chosen, sizes, strict=True)
        ]
        least = min(range(len(over)), key=lambda n: over[n], default=None)
        if least is None or over[least] >= 1:
            break
        del chosen[least], columns[least + 2]
    base = 1 + weights[1] / _MS_A_SECOND
    moves = []
    for (kind, index), size in sorted(zip(chosen, sizes, strict=True), key=lambda c: c[0][1]):
        is_tempo = kind == "tempo"
        moves.append(
            TimeMove(
                kind=kind,
                bar=bars[index].number,
                size_ms=0.0 if is_tempo else float(size),
                ratio=float((base + size / _MS_A_SECOND) / base) if is_tempo else 1.0,
            )
        )
    return TimeLine(slope=float(weights[1]) / _MS_A_SECOND, moves=tuple(moves), n_bars=len(bars))


def _stays(kind: MoveKind, index: int, size: float, bars: Sequence[BarPlace]) -> bool:
    """Whether most bars after a step keep it: there and back again is no step for good."""
    late_ms = [bar.late_ms for bar in bars]
    moved_ms = float(np.median(late_ms[index:]) - np.median(late_ms[:index]))
    return kind != "step" or abs(moved_ms) >= _RETURNS * abs(size)


def _size_over_least(kind: MoveKind, size: float, bars: Sequence[BarPlace]) -> float:
    """How many times an event is above what is worth telling."""
    match kind:
        case "step":
            return abs(size) / LEAST_STEP_MS
        case "once":
            return abs(size) / LEAST_ONCE_MS
        case "tempo":
            length_s = bars[-1].end_s - bars[0].start_s
            return min(
                abs(size) / _MS_A_SECOND / LEAST_TEMPO_RATIO,
                abs(size) * length_s / 2 / LEAST_TEMPO_MS,
            )


def _middles_s(bars: Sequence[BarPlace]) -> Floats:
    return np.array([(bar.start_s + bar.end_s) / 2 for bar in bars])


def _candidates(bars: Sequence[BarPlace]) -> list[tuple[tuple[MoveKind, int], Floats]]:
    """Every event that there may be, as its column."""
    n, at = len(bars), np.arange(len(bars))
    middles_s = _middles_s(bars)
    found: list[tuple[tuple[MoveKind, int], Floats]] = []
    for k in range(1, n):
        found.append((("step", k), (at >= k).astype(float)))
        if k < n - 1:
            found.append((("once", k), (at == k).astype(float)))
        if _LEAST_RUN <= k <= n - _LEAST_RUN:
            found.append((("tempo", k), np.maximum(middles_s - bars[k].start_s, 0.0)))
    return found


def _fitted(columns: Sequence[Floats], y: Floats) -> tuple[Floats, float]:
    """Weights of the columns, and what they leave (Huber's line [H64]_)."""
    x = np.stack(columns, axis=1)
    weigh = np.ones(len(y))
    weights: Floats = np.zeros(x.shape[1])
    for _ in range(_ROUNDS):
        root = np.sqrt(weigh)
        weights = np.asarray(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0])
        off = np.abs(y - x @ weights) / _SCATTER_MS
        weigh = 1 / np.maximum(off, 1.0)
    off = np.abs(y - x @ weights) / _SCATTER_MS
    misfit = float(np.where(off < 1, off**2 / 2, off - 0.5).sum())
    return weights, misfit
