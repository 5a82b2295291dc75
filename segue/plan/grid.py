"""The beats of a song as a ruler that reaches past what was heard."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from segue.analysis.facts import PULSE_CONFIDENCE, EdgeFacts

_STEADY_MS: Final = 6.0
"""A grid this close to even is taken as even: a displacement of 6 ms of one event is the
least that is noticed (A. Friberg and J. Sundberg, JASA 98(5), 1995, 2524-2531)."""

SAME_BEAT: Final = 1e-3
"""Beats closer than this are one: a millisecond at most, far below what is noticed."""

ON_THE_LINE_BEATS: Final = 0.15
"""How far from a bar line a hit may be and still belong to it. Chosen on the demo songs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatGrid:
    """Beats of a song by index, with bar lines.

    Parameters
    ----------
    beats_s : tuple of float
        At least two beats, ascending, in seconds from the start of the file.
    downbeat : int
        Index of a beat that is a bar line.
    is_heard : bool
        False where the song has no clear pulse and the grid is only a ruler.
    """

    beats_s: tuple[float, ...]
    downbeat: int
    metre: int
    is_heard: bool

    def seconds_at(self, index: float) -> float:
        """Time of a beat, also between beats and beyond both ends, in seconds of the file."""
        low = min(max(math.floor(index), 0), len(self.beats_s) - 2)
        here, after = self.beats_s[low], self.beats_s[low + 1]
        return here + (index - low) * (after - here)

    def index_at(self, seconds: float) -> float:
        """Beat at a time of the file; inverse of `seconds_at`."""
        low = int(np.searchsorted(self.beats_s, seconds, side="right")) - 1
        low = min(max(low, 0), len(self.beats_s) - 2)
        here, after = self.beats_s[low], self.beats_s[low + 1]
        return low + (seconds - here) / (after - here)

    def bar_line_before(self, index: float) -> int:
        """The last bar line at or before a beat; a hair after one counts as on it."""
        bars = math.floor((index + ON_THE_LINE_BEATS - self.downbeat) / self.metre)
        return self.downbeat + bars * self.metre

    def bar_line_after(self, index: float) -> int:
        """The first bar line at or after a beat; a hair after one counts as on it."""
        bars = math.ceil((index - ON_THE_LINE_BEATS - self.downbeat) / self.metre)
        return self.downbeat + bars * self.metre

    def bpm_at(self, index: float) -> float:
        """Tempo of the beat that starts at or before an index."""
        return 60.0 / (self.seconds_at(math.floor(index) + 1) - self.seconds_at(math.floor(index)))


def beats_between(start: float, end: float) -> list[float]:
    """Start, every whole beat inside, and end; nothing closer together than rounding.

    Examples
    --------
    >>> beats_between(0.5, 3.0)
    [0.5, 1.0, 2.0, 3.0]
    """
    inner = range(math.floor(start) + 1, math.ceil(end))
    return [start, *(float(b) for b in inner if start + SAME_BEAT < b < end - SAME_BEAT), end]


def beat_grid(facts: EdgeFacts, *, anchor_s: float) -> BeatGrid:
    """The beats of an edge as a ruler.

    Parameters
    ----------
    anchor_s : float
        A bar line to count from where no pulse is heard.

    Returns
    -------
    BeatGrid
        Even where the beats are even to within a just-noticeable displacement.
    """
    pulse = facts.pulse
    beats_s = pulse.beats_s
    heard = pulse.confidence >= PULSE_CONFIDENCE and len(beats_s) > pulse.metre
    if not heard:
        even = (anchor_s, anchor_s + pulse.beat_s)
        return BeatGrid(beats_s=even, downbeat=0, metre=pulse.metre, is_heard=False)
    downbeat = beats_s.index(pulse.downbeats_s[-1]) if pulse.downbeats_s else 0
    return BeatGrid(beats_s=_evened(beats_s), downbeat=downbeat, metre=pulse.metre, is_heard=True)


def _evened(beats_s: tuple[float, ...]) -> tuple[float, ...]:
    """The beats on one line where they are that regular, else as they are."""
    index = np.arange(len(beats_s))
    slope, intercept = np.polyfit(index, np.array(beats_s), 1)
    line = intercept + slope * index
    rms_ms = 1000.0 * math.sqrt(float(np.mean((line - np.array(beats_s)) ** 2)))
    steps = [b - a for a, b in pairwise(beats_s)]
    skips = max(steps) > 1.5 * min(steps)
    return tuple(line.tolist()) if rms_ms <= _STEADY_MS and not skips else beats_s


def chord_edges(n_chords: int, start: float, end: float, metre: int) -> list[float]:
    """Beats on which chords begin, and the last ends: whole bars where there are enough.

    Else half bars, or beats; what does not come out even goes to the first of them, so that the
    chords move faster towards the end.

    Examples
    --------
    >>> chord_edges(3, 8, 24, 4), chord_edges(5, 0, 16, 4)
    ([8, 16, 20, 24], [0, 4, 8, 12, 14, 16])
    """
    halves = [metre // 2] if metre % 2 == 0 else []
    length = end - start
    unit = next((u for u in (metre, *halves, 1) if u * n_chords <= length), length / n_chords)
    each, extra = divmod(round(length / unit), n_chords)
    edges = [start]
    for n in range(n_chords):
        edges.append(edges[-1] + (each + (n < extra)) * unit)
    return [*edges[:-1], end]
