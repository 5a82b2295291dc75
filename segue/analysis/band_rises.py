"""How hard music attacks: what all bands gain in level from moment to moment.

A spectral flux in decibels [Dix06]_: it does not know how loud the music is, only how far a hit
stands out of what sounds around it.

References
----------
.. [Dix06] S. Dixon, "Onset detection revisited", DAFx 2006.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

RISES_HOP_S: Final = 0.0116  # 256 frames at 22 kHz
WINDOW_S: Final = 0.046  # 1,024 frames at 22 kHz
STRONG_PERCENT: Final = 95.0
"""Percentile of the rises that stands for the hits among them."""
_N_BANDS: Final = 40  # evenly in log frequency
_LOWEST_HZ: Final = 40.0  # of the lowest band
_RANGE_DB: Final = 80.0  # below the loudest: softer is nothing
_BLOCK_HOPS: Final = 512  # at once, to hold little memory


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
    edges = np.unique(np.maximum(np.round(hertz / rate_hz * window), 1).astype(int))
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


def _levels_db(
    mono: npt.NDArray[np.float32], window: int, hop: int, edges: npt.NDArray[np.int_]
) -> Floats:
    """Bands between edges in bins, (n_hops, n_bands), a block of hops at a time."""
    from scipy.fft import rfft

    frames = np.lib.stride_tricks.sliding_window_view(mono, window)[::hop]
    shape = np.hanning(window).astype(np.float32)
    powers = np.concatenate(
        [
            np.add.reduceat(
                np.square(np.abs(rfft(frames[n : n + _BLOCK_HOPS] * shape, axis=1)))[
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
