"""Gaps in a recording where the plan has sound: from a tenth of a second, at their true length.

In a gap all bands of the sound fall together, as far as the room's tail and the noise let them, and
come back together. So the take is held against the plan with a gap and without one, both as the
take's room and noise would have them, between each fall and each rise of the whole; what it is
nearer to is told, at the edges that tell it best.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled
from segue.review.report import Hole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

RATE_HZ: Final = 16_000  # at which gaps are looked for; chosen on odd seeds
HOP_S: Final = 0.005  # chosen on odd seeds
_WINDOW_FRAMES: Final = 256  # 16 ms; chosen on odd seeds
BAND_EDGES_HZ: Final = (60.0, 150.0, 400.0, 1_000.0, 2_500.0, 6_500.0)
"""Kick and bass; low notes; the voice's range in two; attacks, cymbals and
hats (chosen on odd seeds)."""
LEAST_GAP_S: Final = 0.085
"""A gap of a tenth of a second, read 15 ms too short, is one still (this and what follows chosen on
the seeds of `benchmarks/review.py` that are for tuning)."""
_LONGEST_S: Final = 10.0  # a longer one is no gap but an end; by judgement
_IS_GAP: Final = 0.6
"""From here on a stretch is as with a gap: gaps have .77 and more, other music .3 at most, and what
an automatic gain does .56 (chosen on tuning seeds)."""
_LEAST_APART_DB: Final = 4.0
"""By which the plan with a gap and without must differ to tell (chosen on the same)."""
_WRONG_DB: Final = 12.0
"""Below the plan a level is as good as silent (by judgement)."""
_BAND_APART_DB: Final = 3.0
"""A band in which they differ by less tells nothing: noise fills it (by judgement)."""
_LEAST_BANDS: Final = 2  # that must tell: one band is one player; by judgement
_RISE_DB: Final = (
    4.0  # of the middle of the bands, from the step before an end to the step behind; by judgement
)
_FALL_DB: Final = 2.5  # the same at a start: a room's tail softens it; by judgement
_STOP_DB: Final = 4.0  # the same where a band stops for good; by judgement
_LEAST_STOP_S: Final = 2.0  # that are missing at the end: less is an ending; by judgement
_ROOMS: Final = (
    (0.0, 0.0),
    *itertools.product((0.2, 0.35, 0.5, 0.8), (-9.0, -6.0, -3.0, 0.0)),
)
"""Seconds in which the tail decays by 60 dB, and its power against the direct sound's (by
judgement: from a dry stage to a small hall)."""
_DECAYED_DB: Final = 60.0  # a reverberation time is told by (ISO 3382)
_DEEPEST_DB: Final = 60.0  # below a band's loudest moment there is no noise to tell; by judgement
_AROUND_S: Final = 0.15  # before and after a gap, where it must be louder; by judgement
_EDGE_S: Final = 0.15  # an edge is looked for this near where the level falls; by judgement
# the sound's end and start reach into the window on both sides; chosen on odd seeds
_READ_SHORT_S: Final = 0.008
_STEP_S: Final = 0.02  # and where it rises; also the length of a step of `_rises`; by judgement
# over so long noise has a level; half of the shortest gap; chosen on odd seeds
_FLOOR_S: Final = 0.05
# below the plan's loud moments there is no sound to miss; chosen on odd seeds
_SOUNDS_DB: Final = 25.0
_TINY: Final = 1e-10  # keeps the logarithm of silence finite


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandLevels:
    """Levels of a take and of its plan in bands, every `HOP_S` of the take.

    Parameters
    ----------
    at_s : ndarray, shape (n_hops,)
        Seconds of the take; those of the plan are `plan_s`.
    take_db, plan_db : ndarray, shape (n_hops, n_bands)
        About the middle of each band.
    broad_db : ndarray, shape (n_hops,)
        Of the take, all bands together.
    """

    at_s: Floats
    plan_s: Floats
    take_db: Floats
    plan_db: Floats
    broad_db: Floats


def band_levels(take: Clip, reference: Clip, take_s_at: Callable[[float], float]) -> BandLevels:
    """Levels of a take in bands, beside those of the plan at the same place in the music."""
    of_plan, of_take = _levels(reference), _levels(take)
    plan_hops_s = np.arange(len(of_plan)) * HOP_S
    known_s = np.array([take_s_at(float(s)) for s in plan_hops_s[::20]])
    at_s = np.arange(len(of_take)) * HOP_S
    rising = np.maximum.accumulate(known_s)
    plan_s = np.interp(at_s, rising, plan_hops_s[::20], left=-1.0, right=-1.0)
    inside = plan_s > 0
    at_s, plan_s = at_s[inside], plan_s[inside]
    index = np.clip(np.rint(plan_s / HOP_S).astype(int), 0, len(of_plan) - 1)
    power = of_take[inside]
    take_db, plan_db = _db(power), _db(of_plan)[index]
    sounds = plan_db > np.quantile(plan_db, 0.9, axis=0) - _SOUNDS_DB
    for band in range(plan_db.shape[1]):
        mine = sounds[:, band]
        if mine.any():
            take_db[:, band] -= np.median(take_db[mine, band] - plan_db[mine, band])
    return BandLevels(
        at_s=at_s, plan_s=plan_s, take_db=take_db, plan_db=plan_db, broad_db=_db(power.sum(axis=1))
    )


def floor_db(take_db: Floats) -> Floats:
    """What is left in each band at the quietest moment, noise or the room; shape (n_bands,).

    Parameters
    ----------
    take_db : ndarray, shape (n_hops, n_bands)
        As of `BandLevels`.
    """
    from scipy.ndimage import uniform_filter1d

    power = uniform_filter1d(10 ** (take_db / 10), round(_FLOOR_S / HOP_S), axis=0)
    return _db(power.min(axis=0))


def gaps_of(levels: BandLevels, bar_at: Callable[[float], int]) -> tuple[Hole, ...]:
    """Where the band, or the line from it, is silent and the plan is not.

    Parameters
    ----------
    bar_at : callable
        Number of the bar that a time of the plan is in.
    """
    heard = _Heard(levels)
    found: list[tuple[int, int]] = []
    for _, first, last in sorted(_candidates(heard), reverse=True):
        if all(last <= other[0] or first >= other[1] for other in found):
            found.append((first, last))
    holes = []
    for gap in sorted(found):
        first, last = heard.nearest(gap, _edges(levels.broad_db, *gap))
        length_s = (last - first) * HOP_S + _READ_SHORT_S
        if length_s >= LEAST_GAP_S:
            holes.append(
                Hole(
                    bar=bar_at(float(levels.plan_s[first])),
                    start_s=float(levels.at_s[first]),
                    length_s=length_s,
                )
            )
    return tuple(holes)


def stopped_s(levels: BandLevels) -> float | None:
    """Time of the plan from which on nothing of it is played; None where it is played to its end.

    A band that leaves off a moment before the end of what was rendered has done nothing wrong.
    """
    heard = _Heard(levels)
    rise = _rises(heard.take_db.mean(axis=1))
    last = len(rise)
    best: tuple[float, float | None] = (0.0, None)
    for first in np.flatnonzero(rise[: -round(_LEAST_STOP_S / HOP_S)] < -_STOP_DB):
        nearness, apart_db = heard.nearness(int(first), last)
        explained = nearness * apart_db * (last - first)
        if nearness > _IS_GAP and apart_db > _LEAST_APART_DB and explained > best[0]:
            best = (explained, float(levels.plan_s[first]))
    return best[1]


class _Heard:
    """The plan as the take would have it: through its room and its noise, with a gap or without.

    A room goes on after the sound is cut off, by a tail that decays exponentially; its strength
    and its length are those that fit the take best.
    """

    def __init__(self, levels: BandLevels) -> None:
        self._plan = 10 ** (levels.plan_db / 10)
        least_db = np.maximum(floor_db(levels.take_db), levels.plan_db.max(axis=0) - _DEEPEST_DB)
        self._noise = 10 ** (least_db / 10)
        self.take_db = np.maximum(levels.take_db, least_db - 3.0)
        sounds = levels.plan_db > np.quantile(levels.plan_db, 0.9, axis=0) - _SOUNDS_DB
        fits = [self._fit(room, sounds) for room in _ROOMS]
        _, self._room, self._gain = min(fits, key=lambda fit: fit[0])
        self._power = self._gain * self._through(self._plan)
        self.plan_db = _db(self._power + self._noise)

    def nearness(self, first: int, last: int) -> tuple[float, float]:
        """Whether a stretch is as with a gap (1) or without (-1), and how many dB they differ."""
        plan_db = self.plan_db[first:last]
        # Talk in a gap is far above the noise, and so far below the plan that it is none of it.
        deep_db = plan_db - _WRONG_DB
        gap_db = np.maximum(self._with_gap(first, last, last), deep_db)
        take_db = np.maximum(self.take_db[first:last], deep_db)
        apart_db = (plan_db - gap_db).mean(axis=0)
        tells = apart_db > _BAND_APART_DB
        if tells.sum() < _LEAST_BANDS:
            return -1.0, 0.0
        nearer = (np.abs(take_db - plan_db) - np.abs(take_db - gap_db)).mean(axis=0)
        return float(nearer[tells].sum() / apart_db[tells].sum()), float(apart_db[tells].mean())

    def nearest(self, *gaps: tuple[int, int]) -> tuple[int, int]:
        """Of the starts and of the ends of some gaps those that tell the take best."""
        low, high = (
            min(gap[0] for gap in gaps),
            max(gap[1] for gap in gaps) + round(_EDGE_S / HOP_S),
        )
        high = min(high, len(self.take_db))

        def misfit(edges: tuple[int, int]) -> float:
            told = self.plan_db[low:high].copy()
            told[edges[0] - low :] = self._with_gap(*edges, high)
            off = np.abs(self.take_db[low:high] - told)
            return float(np.minimum(off, _WRONG_DB).sum())

        return min(itertools.product(*zip(*gaps, strict=True)), key=misfit)

    def _with_gap(self, first: int, last: int, until: int) -> Floats:
        """Levels from the start of a gap to some hop behind it."""
        missing = self._plan[first:until].copy()
        missing[last - first :] = 0.0
        left = self._power[first:until] - self._gain * self._through(missing)
        return _db(np.maximum(left, 0.0) + self._noise)

    def _through(self, power: Floats, room: tuple[float, float] | None = None) -> Floats:
        from scipy.signal import lfilter

        long_s, tail_db = self._room if room is None else room
        if not long_s:
            return power
        kept = 10 ** (-_DECAYED_DB / 10 * HOP_S / long_s)
        tail = np.asarray(lfilter([1 - kept], [1, -kept], power, axis=0))
        through: Floats = power + 10 ** (tail_db / 10) * tail
        return through

    def _fit(
        self, room: tuple[float, float], sounds: npt.NDArray[np.bool_]
    ) -> tuple[float, tuple[float, float], Floats]:
        """How far a room is from the take, the room, and the gain of each band in it."""
        power = self._through(self._plan, room)
        over = np.where(sounds, self.take_db - _db(power + self._noise), np.nan)
        gain = 10 ** (np.nan_to_num(np.nanmedian(over, axis=0)) / 10)
        off = np.abs(self.take_db - _db(gain * power + self._noise))
        return float(np.median(off)), room, gain


def _candidates(heard: _Heard) -> Iterator[tuple[float, int, int]]:
    """Stretches between a fall and a rise of all bands that are as with a gap: how much, edges."""
    level = heard.take_db.mean(axis=1)
    rise = _rises(level)
    middle = rise[1:-1]
    is_top = (middle >= rise[:-2]) & (middle > rise[2:]) & (middle > _RISE_DB)
    is_bottom = (middle <= rise[:-2]) & (middle < rise[2:]) & (middle < -_FALL_DB)
    falls = np.flatnonzero(is_bottom) + 1
    sums = np.concatenate([[0.0], np.cumsum(level)])
    around = round(_AROUND_S / HOP_S)
    for last in np.flatnonzero(is_top) + 1:
        low, high = last - round(_LONGEST_S / HOP_S), last - round(LEAST_GAP_S / HOP_S)
        for first in falls[(falls >= low) & (falls <= high)]:
            inner = (sums[last] - sums[first]) / (last - first)
            before = float(np.median(level[max(first - around, 0) : first]))
            after = float(np.median(level[last : last + around]))
            if min(before, after) - inner < _FALL_DB:
                continue
            nearness, apart_db = heard.nearness(int(first), int(last))
            if nearness > _IS_GAP and apart_db > _LEAST_APART_DB:
                # By all that it explains, a gap stands before its own parts.
                yield nearness * apart_db * (last - first), int(first), int(last)


def _edges(broad_db: Floats, first: int, last: int) -> tuple[int, int]:
    """Where the whole falls and rises most, near where a gap starts and ends."""
    rise = _rises(broad_db)
    before, near = round(_EDGE_S / HOP_S), round(_STEP_S / HOP_S)
    low, high = max(first - before, 0), min(first + near, last - 1)
    start = low + int(np.argmin(rise[low : high + 1]))
    end = max(last - near, start + 1)
    return start, end + int(np.argmax(rise[end : last + near + 1]))


def _rises(level: Floats) -> Floats:
    """At each hop the mean of the step behind it over that of the step before it."""
    step = round(_STEP_S / HOP_S)
    sums = np.concatenate([[0.0], np.cumsum(level)])
    rise = np.zeros(len(level))
    at = np.arange(step, len(level) - step)
    rise[at] = (sums[at + step] - 2 * sums[at] + sums[at - step]) / step
    return rise


def _levels(clip: Clip) -> Floats:
    """Power in each band every `HOP_S`, shape (n_hops, n_bands)."""
    mono = resampled(clip, RATE_HZ).samples.mean(axis=1, dtype=np.float64)
    hop = round(HOP_S * RATE_HZ)
    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half + hop))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::hop]
    windows = windows[: len(mono) // hop + 1]
    hz = np.fft.rfftfreq(_WINDOW_FRAMES, 1 / RATE_HZ)
    bands = []
    shape = np.hanning(_WINDOW_FRAMES)
    spectra = np.concatenate(
        [
            np.square(np.abs(np.fft.rfft(block * shape, axis=1)))
            for block in np.array_split(windows, max(len(windows) // 2_000, 1))
        ]
    )
    for low, high in itertools.pairwise(BAND_EDGES_HZ):
        bands.append(spectra[:, (hz >= low) & (hz < high)].sum(axis=1))
    return np.stack(bands, axis=1)


def _db(power: Floats) -> Floats:
    decibels: Floats = 10 * np.log10(power + _TINY)
    return decibels
