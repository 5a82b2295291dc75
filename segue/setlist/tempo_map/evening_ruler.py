"""One ruler for a whole evening: songs and ways across laid after each other, tick by tick.

Seconds are the evening's, from bar one of its first song. What was heard of a
song is laid beat by beat; what was not heard is laid as even bars that fit
between the heard parts, so that the clock is right wherever something was heard.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from segue.plan.grid import SAME_BEAT, beats_between
from segue.stage.midi_score import TICKS_A_BEAT, plan_beats, tick_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from segue.plan import Plan
    from segue.plan.grid import BeatGrid

MOST_FIT_RATIO: Final = 0.01
"""Unheard bars are fitted by up to this change of tempo; else a short bar is left. Set by
judgement: it moves a bar by less than the tempo of a band that plays without a click."""

SAME_PLACE_BEATS: Final = 0.15
"""Bar lines of two edges this close are one, as in `segue.plan.grid`."""

_QUARTER: Final = 4
_FINEST: Final = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """How a part of a song that was not heard is laid.

    Parameters
    ----------
    n_beats : int
        0 where the heard parts meet.
    bpm : float
        Tempo at which the bars fit; 0 where there are none.
    """

    n_beats: int
    metre: int
    seconds: float
    bpm: float

    @property
    def short_bar_beats(self) -> int:
        """Beats of a last bar that is not whole; 0 where all are."""
        return self.n_beats % self.metre


def fill_of(seconds: float, *, bpm: float, metre: int) -> Fill:
    """Whole bars that fit a length of time, or whole beats where bars do not.

    Parameters
    ----------
    bpm : float
        Heard tempo.

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
    return Fill(
        n_beats=n_beats,
        metre=metre,
        seconds=seconds,
        bpm=60.0 * n_beats / seconds if n_beats else 0.0,
    )


@dataclass(slots=True)
class EveningRuler:
    """The ruler as it grows.

    Parameters
    ----------
    points : list of (int, float)
        Ticks and seconds at which the clock has to be there.
    bars : list of (int, int)
        Tick and beats of every bar.
    """

    points: list[tuple[int, float]] = field(default_factory=lambda: [(0, 0.0)])
    bars: list[tuple[int, int]] = field(default_factory=list)

    @property
    def tick(self) -> int:
        """Where it ends now."""
        return self.points[-1][0]

    @property
    def time_s(self) -> float:
        """Second at which it ends now."""
        return self.points[-1][1]

    @property
    def bar_number(self) -> int:
        """Number of the bar that begins where it ends now."""
        return len(self.bars) + 1

    def lay_fill(self, fill: Fill) -> None:
        """Even bars, the last one short if it must be."""
        start_tick, start_s = self.points[-1]
        for beat in range(0, fill.n_beats, fill.metre):
            self.bars.append((start_tick + beat * TICKS_A_BEAT, fill.metre))
            end = min(beat + fill.metre, fill.n_beats)
            second = start_s + fill.seconds * end / fill.n_beats
            self.points.append((start_tick + end * TICKS_A_BEAT, second))

    def lay_grid(self, grid: BeatGrid, first: float, last: float, *, zero_s: float) -> None:
        """Heard beats of a song from a bar line to another; `zero_s` is where its file starts."""
        start_tick = self.tick
        self.begin_at(zero_s + grid.seconds_at(first))
        for beat in _steps(first, last, grid.metre):
            self.bars.append((start_tick + tick_of(beat - first), grid.metre))
        for beat in beats_between(first, last)[1:]:
            second = zero_s + grid.seconds_at(beat)
            self.points.append((start_tick + tick_of(beat - first), second))

    def lay_free(self, seconds: float, *, bpm: float, metre: int) -> None:
        """Time on no beat, as whole bars near a tempo; less than half a bar is a short one.

        Less than half a beat only holds on.
        """
        beats = seconds * bpm / 60.0
        n_beats = round(beats / metre) * metre or round(beats)
        if n_beats:
            bpm = 60.0 * n_beats / seconds
            self.lay_fill(Fill(n_beats=n_beats, metre=metre, seconds=seconds, bpm=bpm))
        elif self.tick:
            self.points[-1] = (self.tick, self.time_s + seconds)

    def lay_lead_in(self, grid: BeatGrid, entry: float, *, from_s: float) -> None:
        """A song's file from a second of it up to its entry: whole beats, the first bar short.

        A part of a beat that is left over at its start is held on the beat before.
        """
        zero_s = self.time_s - from_s
        n_beats = math.floor(entry - grid.index_at(from_s) + SAME_BEAT)
        first = entry - n_beats
        full = first + n_beats % grid.metre
        for start, end in ((first, full), (full, entry)):
            if end > start:
                self.lay_grid(grid, start, end, zero_s=zero_s)
        self.begin_at(zero_s + grid.seconds_at(entry))

    def lay_tail(self, seconds: float, *, bpm: float, metre: int) -> None:
        """The last sound after the last bar line, at a tempo; the last bar need not be whole."""
        start_tick = self.tick
        end_tick = start_tick + tick_of(seconds * bpm / 60.0)
        if end_tick > start_tick:
            for tick in range(start_tick, end_tick, metre * TICKS_A_BEAT):
                self.bars.append((tick, metre))
            self.points.append((end_tick, self.time_s + seconds))

    def beat_at(self, second: float) -> float:
        """Beat at a second of the evening, between the points as on a line."""
        n = bisect_right(self.points, second, key=lambda point: point[1])
        tick, here_s = self.points[n - 1]
        end_tick, end_s = self.points[min(n, len(self.points) - 1)]
        share = (second - here_s) / (end_s - here_s) if end_s > here_s else 0.0
        return (tick + share * (end_tick - tick)) / TICKS_A_BEAT

    def lay_plan(self, plan: Plan, first: float, last: float, *, start_s: float) -> None:
        """A way across from a beat to another; `start_s` is where its beat 0 would be."""
        start_tick = self.tick - tick_of(first)
        self.begin_at(start_s + plan.tempo.seconds_at(tick_of(first) / TICKS_A_BEAT))
        for line in plan.bar_lines:
            if first - SAME_BEAT < line.beat < last - SAME_PLACE_BEATS:
                self.bars.append((start_tick + tick_of(line.beat), line.metre))
        beats = [b for b in plan_beats(plan) if tick_of(first) < tick_of(b) < tick_of(last)]
        for beat in (*beats, tick_of(last) / TICKS_A_BEAT):
            second = start_s + plan.tempo.seconds_at(beat)
            self.points.append((start_tick + tick_of(beat), second))

    def begin_at(self, second: float) -> None:
        """The clock is right where something heard begins; the beat before takes the difference."""
        self.points[-1] = (self.tick, second if self.tick else 0.0)


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
    places = list(bars)
    last = (0, 0)
    ends = [tick for tick, _ in places[1:]] + [end_tick]
    for (tick, _), end in zip(places, ends, strict=True):
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
