"""Onset strength: how much new sound starts, at each hop and in each band.

The strength is the rise of a log-compressed, log-spaced spectrum over two hops, against the
loudest neighbour of the earlier hop so that vibrato makes no onset [BW13]_, kept apart in four
bands (kick and bass; low notes and snare body; melody; hats and attacks). Each band is divided
by its own slow average, so that a fade keeps its pulse and a gain changes nothing.

Times here are seconds from the first frame of the sound that was given.

How hard music attacks is told by another spectral flux, in decibels [Dix06]_ (`band_rises`): it
does not know how loud the music is, only how far a hit stands out of what sounds around it.

References
----------
.. [BW13] S. Böck and G. Widmer, "Maximum filter vibrato suppression for onset detection",
   Proceedings of the 16th International Conference on Digital Audio Effects (DAFx), 2013.
.. [Dix06] S. Dixon, "Onset detection revisited", DAFx 2006.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip


RATE_HZ: Final = 22_050  # rate of the sound that is analysed; by judgement
HOP_FRAMES: Final = 220  # frames from spectrum to spectrum, 10 ms; by judgement
HOP_S: Final = HOP_FRAMES / RATE_HZ
# kick and bass; low notes; melody; hats and attacks; by judgement
BAND_EDGES_HZ: Final = (30.0, 160.0, 600.0, 3000.0, 10_000.0)
N_BANDS: Final = len(BAND_EDGES_HZ) - 1

_WINDOW_FRAMES: Final = 1024  # frames of a spectrum, 46 ms; by judgement
_FILTERS_AN_OCTAVE: Final = 12  # filters of the log-spaced spectrum, a semitone apart; by judgement
_LAG_HOPS: Final = 2  # hops that a rise is taken over; by judgement
_COMPRESSION: Final = 100.0  # what a loud level is scaled to before log(1 + x); by judgement
_LOUD_QUANTILE: Final = 0.98  # of the levels: what stands for a loud one; by judgement
_SLOW_S: Final = 6.0  # seconds of the average that a band is divided by; by judgement
_HOPS_AT_ONCE: Final = 512
"""Spectra are worked out in blocks of this many, to hold little memory."""
# of the loudest average: what quiet bands are divided by at least; by judgement
_FLOOR_SHARE: Final = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OnsetCurves:
    """Onset strength over time.

    Parameters
    ----------
    bands : ndarray, shape (n_hops, 4)
        Strength in each band of `BAND_EDGES_HZ`, about 1 on average over time.
    accent : ndarray, shape (n_hops,)
        How much the loudness rises, about 1 on average over time.
    """

    bands: Floats
    accent: Floats

    @property
    def total(self) -> Floats:
        """Strength over all bands, shape (n_hops,)."""
        total: Floats = self.bands.mean(axis=1)
        return total


def onset_curves(mono: Floats32, *, starts_cut: bool = False) -> OnsetCurves:
    """Onset strength of a sound, shape (n_frames,), at `RATE_HZ`; see `curves_of_levels`."""
    return curves_of_levels(onset_levels(mono), starts_cut=starts_cut)


def curves_of_levels(levels: Floats32, *, starts_cut: bool = False) -> OnsetCurves:
    """Onset strength from the levels of a sound.

    Parameters
    ----------
    levels : ndarray, shape (n_hops, n_filters)
        What `onset_levels` returns.
    starts_cut : bool
        Whether the first frame is in the midst of sound, so that its rise is no onset.

    Returns
    -------
    OnsetCurves
        Hop k describes the sound around k times `HOP_S`.
    """
    from scipy import ndimage  # heavy, and a draft asks for `band_rises` alone

    rise = np.zeros_like(levels)
    before = ndimage.maximum_filter1d(levels, 3, axis=1)
    rise[_LAG_HOPS:] = np.maximum(levels[_LAG_HOPS:] - before[:-_LAG_HOPS], 0.0)
    n_edge = _WINDOW_FRAMES // (2 * HOP_FRAMES) + 1
    rise[len(rise) - n_edge :] = 0.0
    if starts_cut:
        rise[: n_edge + _LAG_HOPS] = 0.0
    _, groups = _filters()
    bands = np.stack([rise[:, groups == g].mean(axis=1) for g in range(N_BANDS)], axis=1)
    accent = np.where(rise.any(axis=1), _loudness_rise(levels), 0.0)
    return OnsetCurves(
        bands=_evened(bands.astype(np.float64)), accent=_evened(accent[:, np.newaxis])[:, 0]
    )


def _loudness_rise(levels: Floats32) -> Floats:
    """Rise of the root of the power over all bands, shape (n_hops,)."""
    root = np.sqrt(np.square(np.expm1(levels)).sum(axis=1, dtype=np.float64)) ** 0.5
    rise = np.zeros(len(levels))
    rise[_LAG_HOPS:] = np.maximum(root[_LAG_HOPS:] - root[:-_LAG_HOPS], 0.0)
    return rise


def onset_levels(mono: Floats32) -> Floats32:
    """Log-compressed levels, shape (n_hops, n_filters); hop k is centred on frame k * hop."""
    from scipy import fft

    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half + HOP_FRAMES))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::HOP_FRAMES]
    shape = np.hanning(_WINDOW_FRAMES + 1)[:-1].astype(np.float32)
    filters, _ = _filters()
    levels = np.empty((len(windows), filters.shape[1]), dtype=np.float32)
    for first in range(0, len(windows), _HOPS_AT_ONCE):
        hops = slice(first, first + _HOPS_AT_ONCE)
        levels[hops] = np.abs(fft.rfft(windows[hops] * shape, axis=1)) @ filters
    loud = np.quantile(levels.max(axis=1), _LOUD_QUANTILE)
    scaled: Floats32 = np.log1p(levels * np.float32(_COMPRESSION / max(loud, 1e-12)))
    return scaled


@lru_cache(maxsize=1)
def _filters() -> tuple[Floats32, npt.NDArray[np.intp]]:
    """Triangular log-spaced filters, shape (n_bins, n_filters), and the band of each."""
    bin_hz = RATE_HZ / _WINDOW_FRAMES
    low, high = BAND_EDGES_HZ[0], BAND_EDGES_HZ[-1]
    n_steps = int(np.log2(high / low) * _FILTERS_AN_OCTAVE)
    centres = np.unique(np.round(low * 2 ** (np.arange(n_steps + 3) / _FILTERS_AN_OCTAVE) / bin_hz))
    bins = np.arange(_WINDOW_FRAMES // 2 + 1)[:, np.newaxis]
    left, middle, right = centres[:-2], centres[1:-1], centres[2:]
    rising = (bins - left) / (middle - left)
    falling = (right - bins) / (right - middle)
    weights = np.clip(np.minimum(rising, falling), 0.0, None)
    groups = np.searchsorted(BAND_EDGES_HZ[1:-1], middle * bin_hz)
    return (weights / weights.sum(axis=0)).astype(np.float32), groups


def _evened(bands: Floats) -> Floats:
    """Bands divided by their slow averages, quiet bands less so."""
    from scipy import ndimage

    slow_hops = round(_SLOW_S / HOP_S)
    slow = ndimage.uniform_filter1d(bands, slow_hops, axis=0, mode="nearest")
    floor = _FLOOR_SHARE * slow.max(axis=0).max()
    return bands / np.maximum(slow, max(floor, 1e-12))


RISES_HOP_S: Final = 0.0116  # 256 frames at 22 kHz
WINDOW_S: Final = 0.046  # 1,024 frames at 22 kHz
STRONG_PERCENT: Final = 95.0
"""Percentile of the rises that stands for the hits among them."""
_N_BANDS: Final = 40  # evenly in log frequency
_LOWEST_HZ: Final = 40.0  # of the lowest band
_RANGE_DB: Final = 80.0  # below the loudest: softer is nothing
_BLOCK_HOPS: Final = 64  # at once, to hold little memory


def band_rises(music: Clip) -> tuple[Floats, Floats]:
    """Mean rise of all bands from hop to hop.

    Returns
    -------
    times_s : ndarray, shape (n_hops,)
        Seconds from the start of the clip.
    rises_db : ndarray, shape (n_hops,)
        0 where no band becomes louder.
    """
    times_s, levels_db, _ = band_levels(music)
    return times_s, rises_of(levels_db)


def rises_of(levels_db: Floats) -> Floats:
    """Mean rise of bands from hop to hop, of their levels of shape (n_hops, n_bands)."""
    if not len(levels_db):
        return np.zeros(0)
    steps = np.diff(levels_db, axis=0, prepend=levels_db[:1])
    return np.asarray(np.maximum(steps, 0.0).mean(axis=1))


def band_levels(music: Clip) -> tuple[Floats, Floats, Floats]:
    """Levels of bands of equal width in log frequency.

    Returns
    -------
    times_s : ndarray, shape (n_hops,)
        Seconds from the start of the clip.
    levels_db : ndarray, shape (n_hops, n_bands)
        Not lower than 80 dB below the loudest.
    band_hz : ndarray, shape (n_bands,)
        Their lower edges.
    """
    rate_hz = music.rate_hz
    window, hop = round(WINDOW_S * rate_hz), round(RISES_HOP_S * rate_hz)
    hertz = np.geomspace(_LOWEST_HZ, 0.45 * rate_hz, _N_BANDS + 1)
    bins = np.maximum(np.round(hertz / rate_hz * window), 1).astype(int)
    edges = np.array(sorted(set(bins.tolist())))  # `np.unique` would load masked arrays
    mono = mono_of(music.samples)
    if len(mono) < window:
        return np.zeros(0), np.zeros((0, len(edges) - 1)), edges[:-1] * (rate_hz / window)
    levels_db = _levels_db(mono, window, hop, edges)
    times_s = (np.arange(len(levels_db)) * hop + window / 2) / rate_hz
    return times_s, levels_db, edges[:-1] * (rate_hz / window)


def strength_of_hits_db(music: Clip) -> float:
    """How far the hits of some music stand out, in decibels a hop; 0 of nothing."""
    _, rises_db = band_rises(music)
    return float(np.percentile(rises_db, STRONG_PERCENT)) if len(rises_db) else 0.0


def _levels_db(mono: Floats32, window: int, hop: int, edges: npt.NDArray[np.int_]) -> Floats:
    """Bands between edges in bins, (n_hops, n_bands), a block of hops at a time."""
    frames = np.lib.stride_tricks.sliding_window_view(mono, window)[::hop]
    shape = np.hanning(window).astype(np.float32)
    powers = np.concatenate(
        [
            np.add.reduceat(
                # not scipy's: for so few frames its import takes longer than it saves
                np.square(np.abs(np.fft.rfft(frames[n : n + _BLOCK_HOPS] * shape, axis=1)))[
                    :, : edges[-1]
                ],
                edges[:-1],
                axis=1,
            )
            for n in range(0, len(frames), _BLOCK_HOPS)
        ]
    ).astype(np.float64)
    levels = 10 * np.log10(powers + 1e-10)
    return np.asarray(np.maximum(levels, levels.max() - _RANGE_DB))
