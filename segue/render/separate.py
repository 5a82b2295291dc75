"""The harmonic and the percussive part of a mix, by the shape of its spectrogram.

Sustained sound makes horizontal ridges, hits make vertical ones; a median along
each direction keeps one and drops the other, and the two become a soft mask
[Fit10]_. It cannot tell a voice from an instrument, nor a plucked attack from a
drum, and a snare's body stays partly in the harmonic part.

References
----------
.. [Fit10] D. FitzGerald, "Harmonic/percussive separation using median
   filtering", DAFx 2010.
.. [DME14] J. Driedger, M. Müller and S. Ewert, "Improving time-scale
   modification of music signals using harmonic-percussive separation", IEEE
   Signal Processing Letters 21(1), 2014, 105-109.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numba
import numpy as np

from segue.render.spectra import Frames

if TYPE_CHECKING:
    import numpy.typing as npt

WINDOW_S: Final = 0.085
"""Length of a spectrum, to the next power of two: 4,096 frames at 48 kHz."""
RIDGE_S: Final = 0.36  # a partial is told from the median over this time; by judgement
RIDGE_HZ: Final = 500.0
"""Reach of the medians along time and along frequency [DME14]_."""
_BLOCK_BINS: Final = 64  # bins at once, to hold little memory; changes no sample
_TINY: Final = 1e-12  # keeps silence from a division by zero


def separated(
    samples: npt.NDArray[np.float32],
    part: Literal["harmonic", "percussive"],
    rate_hz: int,
    *,
    benefit_db: float = 0.0,
    window_s: float = WINDOW_S,
) -> npt.NDArray[np.float32]:
    """One part of a mix; the two parts add up to the mix.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    benefit_db : float, optional
        How much stronger a hit must stand out to count as percussive.
    window_s : float, optional
        Length of a spectrum, to the next power of two.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    window = 1 << int(np.ceil(np.log2(0.9 * window_s * rate_hz)))
    frames = Frames(samples, window)
    share = _percussive_share(frames, rate_hz, 10 ** (benefit_db / 10))
    if part == "harmonic":
        np.subtract(1.0, share, out=share)
    return frames.times(share[None])


def _percussive_share(frames: Frames, rate_hz: int, benefit: float) -> npt.NDArray[np.float32]:
    """What of every bin counts as percussive, (n_hops, n_bins)."""
    loudness = np.empty((frames.n_hops, frames.n_bins), dtype=np.float32)
    for hops, spectra in frames.blocks():
        power = np.square(spectra.real) + np.square(spectra.imag)
        np.sqrt(power.sum(axis=0), out=loudness[hops])
    share: npt.NDArray[np.float32] = median_along(
        loudness, _odd(RIDGE_HZ * frames.window / rate_hz)
    )
    width = _odd(RIDGE_S * rate_hz / frames.hop)
    for first in range(0, frames.n_bins, _BLOCK_BINS):
        bins = slice(first, first + _BLOCK_BINS)
        ringing = median_along(np.ascontiguousarray(loudness[:, bins].T), width).T
        ringing = np.square(ringing) * np.float32(benefit)
        hitting = np.square(share[:, bins])
        share[:, bins] = hitting / (ringing + hitting + np.float32(_TINY))
    return share


def _odd(width: float) -> int:
    return 2 * round(width / 2) + 1


@numba.njit(cache=True)
def median_along(values, width):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """Running median of every row; the ends are repeated."""
    n_rows, n_columns = values.shape
    half = width // 2
    medians = np.empty_like(values)
    for row in range(n_rows):
        line = values[row]
        ordered = np.empty(width, dtype=values.dtype)
        for place in range(width):
            ordered[place] = line[min(max(place - half, 0), n_columns - 1)]
        ordered.sort()
        medians[row, 0] = ordered[half]
        for column in range(1, n_columns):
            gone = line[max(column - 1 - half, 0)]
            come = line[min(column + half, n_columns - 1)]
            place = 0
            while ordered[place] != gone:
                place += 1
            while place + 1 < width and ordered[place + 1] < come:
                ordered[place] = ordered[place + 1]
                place += 1
            while place > 0 and ordered[place - 1] > come:
                ordered[place] = ordered[place - 1]
                place -= 1
            ordered[place] = come
            medians[row, column] = ordered[half]
    return medians
