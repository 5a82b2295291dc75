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

if TYPE_CHECKING:
    import numpy.typing as npt

WINDOW_S: Final = 0.085
"""Length of a spectrum, to the next power of two: 4,096 frames at 48 kHz."""
_OVERLAP: Final = 4
RIDGE_S: Final = 0.36
RIDGE_HZ: Final = 500.0
"""Reach of the medians along time and along frequency [DME14]_."""
_TINY: Final = 1e-12


def separated(
    samples: npt.NDArray[np.float32],
    part: Literal["harmonic", "percussive"],
    rate_hz: int,
    *,
    benefit_db: float = 0.0,
) -> npt.NDArray[np.float32]:
    """One part of a mix; the two parts add up to the mix.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    part : {'harmonic', 'percussive'}
    rate_hz : int
    benefit_db : float, optional
        How much stronger a hit must stand out to count as percussive.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import hann

    window = 1 << int(np.ceil(np.log2(0.9 * WINDOW_S * rate_hz)))
    hop = window // _OVERLAP
    stft = ShortTimeFFT(hann(window, sym=False), hop=hop, fs=1.0)
    spectra = stft.stft(samples, axis=0)  # (n_bins, n_channels, n_hops)
    loudness = np.sqrt((np.abs(spectra) ** 2).sum(axis=1)).astype(np.float32)
    across_time = _median_along(loudness, _odd(RIDGE_S * rate_hz / hop))
    across_pitch = _median_along(
        np.ascontiguousarray(loudness.T), _odd(RIDGE_HZ * window / rate_hz)
    ).T
    ringing = (across_time * 10 ** (benefit_db / 20)) ** 2
    hitting = across_pitch**2
    mask = hitting / (ringing + hitting + _TINY)
    if part == "harmonic":
        mask = 1 - mask
    spectra *= mask[:, None, :]
    sound = stft.istft(spectra, k1=len(samples), f_axis=0, t_axis=-1)
    return np.ascontiguousarray(sound.real.astype(np.float32))


def _odd(width: float) -> int:
    return 2 * round(width / 2) + 1


@numba.njit(cache=True)
def _median_along(values, width):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
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
