"""The net's opinion of beats and of ways to count them, as evidence among the rest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from segue.analysis.beat_net import FASTEST_BPM, FRAME_HOPS, FRAME_S, N_TEMPI, SLOWEST_BPM, Opinion

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32


NET_FOR_BEATS: Final = ("on", "half", "thirds", "share", "rest", "tempo", "level")
"""Log odds of a beat on the beats, halfway and at thirds; the mean likelihood of the beats;
how much of the likely beats is passed over; log likelihood of the tempo, and below the best."""
NET_FOR_BARS: Final = ("down", "other", "share", "rest", "metre")
"""The same of downbeats: log odds on them and on other beats, likelihood, what is passed over,
and log likelihood of so many beats a bar."""
NET_COLUMNS: Final = (
    *(f"beat {name}" for name in NET_FOR_BEATS),
    *(f"bar {name}" for name in NET_FOR_BARS),
    "bar length",
    "2 beats",
    "3 beats",
    "4 beats",
)
"""All that the net says of a way to count, how far (in octaves, squared) a bar is from
two seconds, and how many beats it has."""
USUAL_BAR_S: Final = 2.0
"""What a bar of common time lasts at its felt octave (common practice, no source)."""
_LIMIT: Final = 6.0
"""Log odds beyond this, one in 400, count no further. Set by judgement."""
_REACH_S: Final = 0.07
"""How far from a beat the net may hear it: the usual window of the beat F-measure."""
_LEAST: Final = 0.05
"""Peaks of the net less likely than this are left out. Set by judgement."""
_UNHEARD, _HEARD = 0.22, 0.45
"""Mean likelihood of beats up to which the net hears none, and from which it is sure: of twelve
white noises .21 at most, of ten made edges without a pulse .002, of rubato and speech .38; of 210
with a pulse .24 at least, .47 of all but two."""
_METRES_HEARD: Final = (2, 3, 4)
"""What the net can say of the metre, in its order."""
_NO_METRE: Final = -6.0
"""Log likelihood of any other metre. Set by judgement."""


class HeardByNet:
    """What the net says of some beats.

    Parameters
    ----------
    beats_s : ndarray, shape (n_beats,)
        In seconds from the first hop.
    """

    def __init__(self, opinion: Opinion, beats_s: Floats) -> None:
        self._opinion = opinion
        self._beats_s = beats_s
        self._marks = _marks(opinion)
        self._down = self._marks.downbeat.odds_at(beats_s)
        self._down_near, _ = self._marks.downbeat.mass_near(beats_s)

    def for_beats(self, beat_s: float) -> Floats:
        """What `NET_FOR_BEATS` lists, of beats that are usually `beat_s` apart."""
        heard = self._marks.beat
        inner_s = np.diff(self._beats_s)
        starts_s = self._beats_s[:-1]
        on = heard.odds_at(self._beats_s)
        half = heard.odds_at(starts_s + inner_s / 2)
        thirds = [heard.odds_at(starts_s + inner_s * part).mean() for part in (1 / 3, 2 / 3)]
        found = heard.mass_near(self._beats_s)
        place = np.log(60.0 / beat_s / SLOWEST_BPM) / np.log(FASTEST_BPM / SLOWEST_BPM)
        tempo = float(np.interp(place * (N_TEMPI - 1), np.arange(N_TEMPI), self._opinion.tempo))
        return np.array(
            [
                on.mean(),
                half.mean(),
                np.mean(thirds),
                _likelihood(on).mean(),
                found[1],
                max(tempo, -20.0),
                max(tempo - float(self._opinion.tempo.max()), -20.0),
            ]
        )

    def for_ways(
        self, for_beats: Floats, metre: int, *, usual_bar_s: float = USUAL_BAR_S
    ) -> Floats:
        """What `NET_COLUMNS` lists, shape (metre, n), one row a place of the downbeat."""
        bar_s = metre * float(np.median(np.diff(self._beats_s)))
        off_octaves = float(np.log2(bar_s / usual_bar_s))
        told = [off_octaves * off_octaves, *(float(metre == m) for m in _METRES_HEARD)]
        both = np.tile(for_beats, (metre, 1)), np.tile(told, (metre, 1))
        return np.concatenate([both[0], self.for_bars(metre), both[1]], axis=1)

    def for_bars(self, metre: int) -> Floats:
        """What `NET_FOR_BARS` lists, shape (metre, 5), one row a place of the downbeat."""
        on, near = self._down, self._down_near
        whole = max(float(near.sum()), 1e-6)
        is_known = metre in _METRES_HEARD
        told = float(self._opinion.metre[_METRES_HEARD.index(metre)]) if is_known else _NO_METRE
        rows = []
        likely, total = _likelihood(on), float(on.sum())
        for phase in range(metre):
            here = slice(phase, None, metre)
            n_here, sum_here = len(on[here]), float(on[here].sum())
            down = sum_here / n_here if n_here else -_LIMIT
            n_other = len(on) - n_here
            other = (total - sum_here) / n_other if n_other else -_LIMIT
            share = float(likely[here].sum()) / n_here if n_here else 0.0
            rest = 1.0 - float(near[here].sum()) / whole
            rows.append([down, other, share, rest, max(told, _NO_METRE)])
        return np.array(rows)


def beat_strength(opinion: Opinion, n_hops: int) -> Floats:
    """Likelihood of a beat at each hop, shape (n_hops,)."""
    likely = _likelihood(opinion.beat.astype(np.float64))
    at = np.minimum(np.arange(n_hops) / FRAME_HOPS, len(likely) - 1)
    return np.interp(at, np.arange(len(likely)), likely)


def net_share(opinion: Opinion, beats_s: Floats) -> float:
    """How far the net bears out some beats, in seconds from the first hop: 0..1."""
    if len(beats_s) == 0:
        return 0.0
    likely = float(beat_likelihood(opinion, beats_s).mean())
    return float(np.clip((likely - _UNHEARD) / (_HEARD - _UNHEARD), 0.0, 1.0))


def beat_likelihood(opinion: Opinion, times_s: Floats) -> Floats:
    """How likely the net holds a beat near each of some times, in seconds from the first hop."""
    return _likelihood(_marks(opinion).beat.odds_at(times_s))


def _likelihood(odds: Floats) -> Floats:
    shares: Floats = 1.0 / (1.0 + np.exp(-np.clip(odds, -30.0, 30.0)))
    return shares


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Heard:
    """Log odds of a mark, made ready to be asked at many times.

    Parameters
    ----------
    raised : ndarray, shape (n_frames,)
        The highest log odds within a frame of each, within limits.
    peaks_s, likely : ndarray, shape (n_peaks,)
        Where the odds peak, and how likely a mark is there.
    """

    raised: Floats32
    peaks_s: Floats
    likely: Floats

    def odds_at(self, times_s: Floats) -> Floats:
        """The highest log odds within a frame of each time, within limits."""
        at = np.clip(np.round(times_s / FRAME_S).astype(int), 0, len(self.raised) - 1)
        return np.asarray(self.raised[at], dtype=np.float64)

    def mass_near(self, beats_s: Floats) -> tuple[Floats, float]:
        """Likelihood of the net's own peaks near each beat, and the share of it near none."""
        first, last = np.searchsorted(
            self.peaks_s, (beats_s[0] - _REACH_S, beats_s[-1] + _REACH_S), side="right"
        )
        times_s, likely = self.peaks_s[first:last], self.likely[first:last]
        near = np.zeros(len(beats_s))
        if len(times_s) == 0:
            return near, 1.0
        after = np.clip(np.searchsorted(beats_s, times_s), 1, len(beats_s) - 1)
        is_before = times_s - beats_s[after - 1] < beats_s[after] - times_s
        nearest = after - is_before
        hits = np.abs(times_s - beats_s[nearest]) <= _REACH_S
        np.add.at(near, nearest[hits], likely[hits])
        return near, 1.0 - float(likely[hits].sum() / likely.sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Marks:
    """Beats and downbeats as the net hears them."""

    beat: _Heard
    downbeat: _Heard


@lru_cache(maxsize=2)
def _marks(opinion: Opinion) -> _Marks:
    """Made once for an edge: dozens of ways to count it ask."""
    return _Marks(beat=_heard(opinion.beat), downbeat=_heard(opinion.downbeat))


def _heard(odds: Floats32) -> _Heard:
    inner = odds[1:-1]
    peaks = np.flatnonzero((inner >= odds[:-2]) & (inner > odds[2:])) + 1
    likely = _likelihood(odds[peaks].astype(np.float64))
    kept = likely > _LEAST
    return _Heard(
        raised=np.clip(ndimage.maximum_filter1d(odds, 3), -_LIMIT, _LIMIT),
        peaks_s=np.asarray(peaks[kept] * FRAME_S, dtype=np.float64),
        likely=likely[kept],
    )
