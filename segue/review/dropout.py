"""Gaps in a recording where the plan has sound: from a tenth of a second, at their true length.

In a gap every band of the sound falls together, well below what the plan has there and below what
is around it, and comes back together. Bands that noise fills cannot fall and are not asked. A
player who rests takes a band or two with him and leaves the others: that is told apart, over whole
bars. Levels of the plan are read as the least that they are within what a beat may be off, so that
a note a little late is no gap. The odd seeds that numbers were chosen on are those of
`benchmarks/review.py`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled
from segue.review.report import Hole, Rest

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.report import BarTiming

    Floats = npt.NDArray[np.float64]

RATE_HZ: Final = 16_000  # at which gaps are looked for; chosen on odd seeds
HOP_S: Final = 0.005  # chosen on odd seeds
_WINDOW_FRAMES: Final = 256  # 16 ms; chosen on odd seeds
BAND_EDGES_HZ: Final = (60.0, 150.0, 400.0, 1_000.0, 2_500.0, 6_500.0)
"""Kick and bass; low notes; the voice's range in two; attacks, cymbals and
hats (chosen on odd seeds)."""
BAND_NAMES: Final = ("lowest notes", "low notes", "middle", "upper middle", "cymbals and attacks")
LEAST_GAP_S: Final = 0.085
"""A gap of a tenth of a second, read 15 ms too short, is one still (chosen on odd seeds)."""
# the sound's end and start reach into the window on both sides; chosen on odd seeds
_READ_SHORT_S: Final = 0.008
# a beat may be off by so much within a bar that is in time; chosen on odd seeds
_SLACK_S: Final = 0.05
# in nearly every band: noise 12 dB below the band leaves as much; chosen on odd seeds
_BELOW_PLAN_DB: Final = 7.0
_MOST_BANDS: Final = 0.7  # of the bands that must be so far below; chosen on odd seeds
# of a gap against the tenth of a second before it and after it; chosen on odd seeds
_BELOW_AROUND_DB: Final = 8.0
_AROUND_S: Final = 0.15  # chosen on odd seeds
# an edge is looked for this near where the level falls or rises; chosen on odd seeds
_EDGE_S: Final = 0.08
# and is where it changes most between two stretches of this length; chosen on odd seeds
_STEP_S: Final = 0.02
# over so long noise has a level; half of the shortest gap; chosen on odd seeds
_FLOOR_S: Final = 0.05
# below the plan's loud moments there is no sound to miss; chosen on odd seeds
_SOUNDS_DB: Final = 25.0
_JOIN_S: Final = 0.03  # gaps nearer than this are one; chosen on odd seeds
# of a band over a bar, against what it has in the rest of the take; chosen on odd seeds
_RESTS_DB: Final = 9.0
_STAYS_DB: Final = 4.0  # and of the others, which stay; chosen on odd seeds
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
    least = _least_around(levels.plan_db, round(_SLACK_S / HOP_S))
    top = np.quantile(levels.plan_db, 0.9, axis=0)
    sounds = (least > top - _SOUNDS_DB) & (least > floor_db(levels.take_db) + _BELOW_PLAN_DB)
    below = (levels.take_db < least - _BELOW_PLAN_DB) & sounds
    n_sounding = sounds.sum(axis=1)
    empty = (n_sounding >= 2) & (below.sum(axis=1) >= _MOST_BANDS * n_sounding)  # noqa: PLR2004 - one band is one player
    holes = []
    for first, last in _stretches(empty, round(_JOIN_S / HOP_S)):
        edges = _edges(levels.broad_db, first, last)
        if edges is None:
            continue
        length_s = (edges[1] - edges[0]) * HOP_S + _READ_SHORT_S
        if length_s >= LEAST_GAP_S:
            holes.append(
                Hole(
                    bar=bar_at(float(levels.plan_s[edges[0]])),
                    start_s=float(levels.at_s[edges[0]]),
                    length_s=length_s,
                )
            )
    return tuple(holes)


def rests_of(
    levels: BandLevels, bars: Sequence[BarTiming], holes: Sequence[Hole]
) -> tuple[Rest, ...]:
    """Bars in which one part is missing while the others go on."""
    starts_s = [bar.plan_s for bar in bars]
    ends_s = [*starts_s[1:], float(levels.plan_s[-1]) if len(levels.plan_s) else 0.0]
    over = []
    for start_s, end_s in zip(starts_s, ends_s, strict=True):
        mine = (levels.plan_s >= start_s) & (levels.plan_s < end_s)
        full = mine.sum() * HOP_S > 0.8 * (end_s - start_s) > 0
        for hole in holes:
            mine &= (levels.at_s < hole.start_s) | (levels.at_s > hole.start_s + hole.length_s)
        if not full or not mine.any():
            over.append(np.full(levels.take_db.shape[1], np.nan))
            continue
        of_take, of_plan = (
            10 * np.log10((10 ** (side[mine] / 10)).mean(axis=0))
            for side in (levels.take_db, levels.plan_db)
        )
        over.append(of_take - of_plan)
    return _rests(np.array(over), bars)


def _rests(over: Floats, bars: Sequence[BarTiming]) -> tuple[Rest, ...]:
    """Runs of bars in which the same band is far down and the middle of the bands is not."""
    rests: list[Rest] = []
    for section in dict.fromkeys(bar.section for bar in bars):
        mine = np.array([bar.section == section for bar in bars])
        if np.isfinite(over[mine]).any():
            over[mine] -= np.nanmedian(over[mine], axis=0)
    for index, bar in enumerate(bars):
        row = over[index]
        if not np.isfinite(row).all():
            continue
        band = int(np.argmin(row))
        if row[band] > -_RESTS_DB or abs(np.median(row)) > _STAYS_DB:
            continue
        name = BAND_NAMES[band]
        if rests and rests[-1].part == name and rests[-1].last_bar == bar.number - 1:
            rests[-1] = Rest(bar=rests[-1].bar, last_bar=bar.number, part=name)
        else:
            rests.append(Rest(bar=bar.number, last_bar=bar.number, part=name))
    return tuple(rests)


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


def _least_around(levels: Floats, n_around: int) -> Floats:
    from scipy.ndimage import minimum_filter1d

    least: Floats = minimum_filter1d(levels, 2 * n_around + 1, axis=0)
    return least


def _stretches(empty: npt.NDArray[np.bool_], n_join: int) -> list[tuple[int, int]]:
    """Runs, those with hardly anything between them as one."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], empty.astype(np.int8), [0]))))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if runs and first - runs[-1][1] <= n_join:
            runs[-1] = (runs[-1][0], int(last))
        else:
            runs.append((int(first), int(last)))
    return [run for run in runs if run[1] - run[0] >= round(0.02 / HOP_S)]


def _edges(broad_db: Floats, first: int, last: int) -> tuple[int, int] | None:
    """Where the level falls and rises most, or None where what is around is no louder."""
    step, reach = round(_STEP_S / HOP_S), round(_EDGE_S / HOP_S)
    smooth = np.convolve(broad_db, np.ones(step) / step, mode="full")
    # at hop k: mean of the hops from k on, against that of the hops before k
    rise = np.full(len(broad_db), 0.0)
    rise[step:-step] = smooth[2 * step - 1 : len(broad_db) - 1] - smooth[step - 1 : -2 * step]
    low, high = max(first - 2 * reach, step), min(last + 2 * reach, len(broad_db) - step)
    if high - low < 2 * step:
        return None
    fall_at = low + int(np.argmin(rise[low : min(first + reach, high)]))
    from_here = max(last - reach, fall_at + step)
    if from_here >= high:
        return None
    rise_at = from_here + int(np.argmax(rise[from_here:high]))
    if rise_at <= fall_at:
        return None
    around = round(_AROUND_S / HOP_S)
    inner = float(np.median(broad_db[fall_at:rise_at]))
    before = float(np.median(broad_db[max(fall_at - around, 0) : fall_at]))
    after = float(np.median(broad_db[rise_at : rise_at + around]))
    if min(before, after) - inner < _BELOW_AROUND_DB:
        return None
    return fall_at, rise_at
