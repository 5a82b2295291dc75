"""A take in bands beside its plan, as the take's room and noise would have the plan.

A room goes on after a sound is cut off, and noise fills what a band leaves. Both are fitted to the
take, so that what it has less of, or more, is the band's or the recorder's.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.arrays import Flags, Floats
    from segue.audio.clip import Clip


_RATE_HZ: Final = 16_000  # at which a take is read in bands; chosen on odd seeds
HOP_S: Final = 0.005  # chosen on odd seeds
_WINDOW_FRAMES: Final = 256  # 16 ms; chosen on odd seeds
BAND_EDGES_HZ: Final = (60.0, 150.0, 400.0, 1_000.0, 2_500.0, 6_500.0)
"""Kick and bass; low notes; the voice's range in two; attacks, cymbals and
hats (chosen on odd seeds)."""
_ROOMS: Final = (
    (0.0, 0.0),
    *itertools.product((0.2, 0.35, 0.5, 0.8), (-9.0, -6.0, -3.0, 0.0)),
)
"""Seconds in which the tail decays by 60 dB, and its power against the direct sound's (by
judgement: from a dry stage to a small hall)."""
_DECAYED_DB: Final = 60.0  # a reverberation time is told by (ISO 3382)
_DEEPEST_DB: Final = 60.0  # below a band's loudest moment there is no noise to tell; by judgement
# over so long noise has a level; half of the shortest gap; chosen on odd seeds
_FLOOR_S: Final = 0.05
# below the plan's loud moments there is no sound to miss; chosen on odd seeds
_SOUNDS_DB: Final = 25.0
_LOUD_DB: Final = 20.0  # of a band below its loud moments: such tell a level; by judgement
_ABOVE_FLOOR_DB: Final = 8.0  # of the plan above what noise leaves in a band; by judgement
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
    take_db, plan_db = decibels(power), decibels(of_plan)[index]
    sounds = plan_db > np.quantile(plan_db, 0.9, axis=0) - _SOUNDS_DB
    for band in range(plan_db.shape[1]):
        mine = sounds[:, band]
        if mine.any():
            take_db[:, band] -= np.median(take_db[mine, band] - plan_db[mine, band])
    return BandLevels(
        at_s=at_s,
        plan_s=plan_s,
        take_db=take_db,
        plan_db=plan_db,
        broad_db=decibels(power.sum(axis=1)),
    )


def told_db(levels: BandLevels, plan_db: Floats) -> Floats:
    """The take over a plan where that is loud, and far above the noise; else not a number.

    Parameters
    ----------
    plan_db : ndarray, shape (n_hops, n_bands)
        As it stands in the levels, or through the room.
    """
    top = np.quantile(levels.plan_db, 0.9, axis=0)
    least = np.maximum(top - _LOUD_DB, floor_db(levels.take_db) + _ABOVE_FLOOR_DB)
    return np.where(levels.plan_db > least, levels.take_db - plan_db, np.nan)


def floor_db(take_db: Floats) -> Floats:
    """What is left in each band at the quietest moment, noise or the room; shape (n_bands,).

    Parameters
    ----------
    take_db : ndarray, shape (n_hops, n_bands)
        As of `BandLevels`.
    """
    from scipy.ndimage import uniform_filter1d

    power = uniform_filter1d(10 ** (take_db / 10), round(_FLOOR_S / HOP_S), axis=0)
    return decibels(power.min(axis=0))


class ThroughRoom:
    """The plan as the take would have it: through its room and its noise, with a gap or without.

    The tail decays exponentially; its strength and its length are those that fit the take best.

    Parameters
    ----------
    levels : BandLevels
        Kept as such; `take_db` and `plan_db` are of the same shape, with the noise in both.
    """

    def __init__(self, levels: BandLevels) -> None:
        self.levels = levels
        self._plan = 10 ** (levels.plan_db / 10)
        least_db = np.maximum(floor_db(levels.take_db), levels.plan_db.max(axis=0) - _DEEPEST_DB)
        self._noise = 10 ** (least_db / 10)
        self.take_db = np.maximum(levels.take_db, least_db - 3.0)
        sounds = levels.plan_db > np.quantile(levels.plan_db, 0.9, axis=0) - _SOUNDS_DB
        fits = [self._fit(room, sounds) for room in _ROOMS]
        _, self._room, self._gain = min(fits, key=lambda fit: fit[0])
        self._power = self._gain * self._through(self._plan)
        self.plan_db = decibels(self._power + self._noise)

    def with_gap_db(self, first: int, last: int, until: int) -> Floats:
        """Levels from the start of a gap to some hop behind it, shape (n_hops, n_bands)."""
        missing = self._plan[first:until].copy()
        missing[last - first :] = 0.0
        left = self._power[first:until] - self._gain * self._through(missing)
        return decibels(np.maximum(left, 0.0) + self._noise)

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
        self, room: tuple[float, float], sounds: Flags
    ) -> tuple[float, tuple[float, float], Floats]:
        """How far a room is from the take, the room, and the gain of each band in it."""
        power = self._through(self._plan, room)
        over = np.where(sounds, self.take_db - decibels(power + self._noise), np.nan)
        gain = 10 ** (np.nan_to_num(np.nanmedian(over, axis=0)) / 10)
        off = np.abs(self.take_db - decibels(gain * power + self._noise))
        return float(np.median(off)), room, gain


def _levels(clip: Clip) -> Floats:
    """Power in each band every `HOP_S`, shape (n_hops, n_bands)."""
    mono = resampled(clip, _RATE_HZ).samples.mean(axis=1, dtype=np.float64)
    hop = round(HOP_S * _RATE_HZ)
    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half + hop))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::hop]
    windows = windows[: len(mono) // hop + 1]
    hz = np.fft.rfftfreq(_WINDOW_FRAMES, 1 / _RATE_HZ)
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


def decibels(power: Floats) -> Floats:
    """Of a power; silence is finite."""
    level: Floats = 10 * np.log10(power + _TINY)
    return level
