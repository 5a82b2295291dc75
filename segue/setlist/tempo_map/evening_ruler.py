"""One ruler for a whole evening: songs and segues laid after each other, tick by tick.

Seconds are the evening's, from bar one of its first song. What was heard of a
song is laid beat by beat; what was not heard is laid as even bars that fit
between the heard parts, so that the clock is right wherever something was heard.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.plan.grid import SAME_BEAT, BeatGrid, beats_between
from segue.stage.midi_score import TICKS_A_BEAT, plan_beats, tick_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from segue.plan import Plan

MOST_FIT_RATIO: Final = 0.01
"""Unheard bars are fitted by up to this change of tempo; else a short bar is left. Set by
judgement: it moves a bar by less than the tempo of a band that plays without a click."""

SAME_PLACE_BEATS: Final = 0.15
"""Bar lines of two edges this close are one, as in `segue.plan.grid`."""

_QUARTER: Final = 4  # the note value that a beat is written as
_FINEST: Final = 32  # the finest note value that a time signature is written with


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """Even beats for a part of the evening that was not heard; none where heard parts meet."""

    n_beats: int
    metre: int
    seconds: float

    @property
    def bpm(self) -> float:
        """Tempo at which the beats fit; 0 where there are none."""
        return 60.0 * self.n_beats / self.seconds if self.n_beats else 0.0

    @property
    def short_bar_beats(self) -> int:
        """Beats of a last bar that is not whole; 0 where all are."""
        return self.n_beats % self.metre


def fill_of(seconds: float, *, bpm: float, metre: int) -> Fill:
    """Whole bars that fit a length of time near a tempo, or whole beats where bars do not.

    Examples
    --------
    >>> fill = fill_of(60.2, bpm=120.0, metre=4)
    >>> fill.n_beats, round(fill.bpm, 2), fill.short_bar_beats
    (120, 119.6, 0)
    """
    beats = seconds * bpm / 60.0
    in_bars = round(beats / metre) * metre
    fits = in_bars > 0 and abs(beats / in_bars - 1.0) <= MOST_FIT_RATIO
    n_beats = in_bars if fits else round(beats) if beats > SAME_PLACE_BEATS else 0
    return Fill(n_beats=n_beats, metre=metre, seconds=seconds)


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningRuler:
    """The ruler as far as it is laid; each function that lays on gives a longer one.

    Parameters
    ----------
    points : tuple of (int, float)
        Ticks and seconds at which the clock has to be there.
    bars : tuple of (int, int)
        Tick and beats of every bar.
    """

    points: tuple[tuple[int, float], ...] = ((0, 0.0),)
    bars: tuple[tuple[int, int], ...] = ()

    @property
    def tick(self) -> int:
        """Where it ends."""
        return self.points[-1][0]

    @property
    def beat(self) -> float:
        """Where it ends, in beats."""
        return self.tick / TICKS_A_BEAT

    @property
    def time_s(self) -> float:
        """Second at which it ends."""
        return self.points[-1][1]

    @property
    def bar_number(self) -> int:
        """Number of the bar that begins where it ends."""
        return len(self.bars) + 1

    def beat_at(self, second: float) -> float:
        """Beat at a second of the evening, between the points as on a line."""
        n = bisect_right(self.points, second, key=lambda point: point[1])
        tick, here_s = self.points[n - 1]
        end_tick, end_s = self.points[min(n, len(self.points) - 1)]
        share = (second - here_s) / (end_s - here_s) if end_s > here_s else 0.0
        return (tick + share * (end_tick - tick)) / TICKS_A_BEAT


def _longer(
    ruler: EveningRuler, points: Iterable[tuple[int, float]], bars: Iterable[tuple[int, int]]
) -> EveningRuler:
    return EveningRuler(points=(*ruler.points, *points), bars=(*ruler.bars, *bars))


def _from(ruler: EveningRuler, second: float) -> EveningRuler:
    """The clock is right where something heard begins; the beat before takes the difference."""
    end = (ruler.tick, second if ruler.tick else 0.0)
    return replace(ruler, points=(*ruler.points[:-1], end))


def with_fill(ruler: EveningRuler, fill: Fill) -> EveningRuler:
    """Even bars, the last one short if it must be."""
    starts = range(0, fill.n_beats, fill.metre)
    ends = [min(beat + fill.metre, fill.n_beats) for beat in starts]
    return _longer(
        ruler,
        (
            (ruler.tick + e * TICKS_A_BEAT, ruler.time_s + fill.seconds * e / fill.n_beats)
            for e in ends
        ),
        ((ruler.tick + beat * TICKS_A_BEAT, fill.metre) for beat in starts),
    )


def with_grid(
    ruler: EveningRuler, grid: BeatGrid, first: float, last: float, *, zero_s: float
) -> EveningRuler:
    """Heard beats of a song from a bar line to another; `zero_s` is where its file starts."""
    begun = _from(ruler, zero_s + grid.seconds_at(first))
    return _longer(
        begun,
        (
            (ruler.tick + tick_of(beat - first), zero_s + grid.seconds_at(beat))
            for beat in beats_between(first, last)[1:]
        ),
        (
            (ruler.tick + tick_of(beat - first), grid.metre)
            for beat in _steps(first, last, grid.metre)
        ),
    )


def with_free_time(ruler: EveningRuler, seconds: float, *, bpm: float, metre: int) -> EveningRuler:
    """Time on no beat, as whole bars near a tempo; less than half a bar is a short one.

    Less than half a beat only holds on.
    """
    beats = seconds * bpm / 60.0
    n_beats = round(beats / metre) * metre or round(beats)
    if n_beats:
        return with_fill(ruler, Fill(n_beats=n_beats, metre=metre, seconds=seconds))
    return _from(ruler, ruler.time_s + seconds)


def with_lead_in(
    ruler: EveningRuler, grid: BeatGrid, entry: float, *, from_s: float
) -> EveningRuler:
    """A song's file from a second of it up to its entry: whole beats, the first bar short.

    A part of a beat that is left over at its start is held on the beat before.
    """
    zero_s = ruler.time_s - from_s
    n_beats = math.floor(entry - grid.index_at(from_s) + SAME_BEAT)
    first = entry - n_beats
    full = first + n_beats % grid.metre
    for start, end in ((first, full), (full, entry)):
        if end > start:
            ruler = with_grid(ruler, grid, start, end, zero_s=zero_s)
    return _from(ruler, zero_s + grid.seconds_at(entry))


def with_tail(ruler: EveningRuler, seconds: float, *, bpm: float, metre: int) -> EveningRuler:
    """The last sound after the last bar line, at a tempo; the last bar need not be whole."""
    end_tick = ruler.tick + tick_of(seconds * bpm / 60.0)
    if end_tick <= ruler.tick:
        return ruler
    bars = ((tick, metre) for tick in range(ruler.tick, end_tick, metre * TICKS_A_BEAT))
    return _longer(ruler, [(end_tick, ruler.time_s + seconds)], bars)


def with_plan_part(
    ruler: EveningRuler, plan: Plan, first: float, last: float, *, start_s: float
) -> EveningRuler:
    """A segue from a beat to another; `start_s` is where its beat 0 would be."""
    start_tick = ruler.tick - tick_of(first)
    begun = _from(ruler, start_s + plan.tempo.seconds_at(tick_of(first) / TICKS_A_BEAT))
    beats = [b for b in plan_beats(plan) if tick_of(first) < tick_of(b) < tick_of(last)]
    return _longer(
        begun,
        (
            (start_tick + tick_of(beat), start_s + plan.tempo.seconds_at(beat))
            for beat in (*beats, tick_of(last) / TICKS_A_BEAT)
        ),
        (
            (start_tick + tick_of(line.beat), line.metre)
            for line in plan.bar_lines
            if first - SAME_BEAT < line.beat < last - SAME_PLACE_BEATS
        ),
    )


def signatures(bars: Iterable[tuple[int, int]], end_tick: int) -> Iterator[tuple[float, int, int]]:
    """Time signatures that make a reader's bars begin where the bars do.

    Parameters
    ----------
    bars : iterable of (int, int)
        Tick and beats of every bar.

    Yields
    ------
    (float, int, int)
        Beat, beats a bar, and note value. A bar that is cut short has a signature
        of its own, to the nearest thirty-second note.

    Examples
    --------
    >>> list(signatures([(0, 4), (3840, 4), (5280, 3)], 8160))
    [(0.0, 4, 4), (4.0, 3, 8), (5.5, 3, 4)]
    """
    starts = [tick for tick, _ in bars]
    last = None
    for tick, end in zip(starts, [*starts[1:], end_tick], strict=True):
        signature = _signature(end - tick)
        if signature != last:
            yield tick / TICKS_A_BEAT, *signature
        last = signature


def _signature(ticks: int) -> tuple[int, int]:
    value = _QUARTER
    while ticks * value % (_QUARTER * TICKS_A_BEAT) and value < _FINEST:
        value *= 2
    return max(round(ticks * value / (_QUARTER * TICKS_A_BEAT)), 1), value


def _steps(first: float, last: float, step: int) -> Iterator[float]:
    beat = first
    while beat < last - SAME_PLACE_BEATS:
        yield beat
        beat += step
