"""The harmonic and the percussive part of a mix, by the shape of its spectrogram.

Sustained sound makes horizontal ridges, hits make vertical ones; a median along
each direction keeps one and drops the other, and the two become a soft mask
[Fit10]_. It cannot tell a voice from an instrument, nor a plucked attack from a
drum, and a snare's body stays partly in the harmonic part.

References
----------
.. [Fit10] D. FitzGerald, "Harmonic/percussive separation using median
   filtering", DAFx 2010.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numba
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

FFT_FRAMES: Final = 2_048
HOP_FRAMES: Final = 512
MEDIAN_HOPS: Final = 17
MEDIAN_BINS: Final = 17
_TINY: Final = 1e-12


def separated(
    samples: npt.NDArray[np.float32], part: Literal["harmonic", "percussive"]
) -> npt.NDArray[np.float32]:
    """One part of a mix; the two parts add up to the mix.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    part : {'harmonic', 'percussive'}

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import hann

    stft = ShortTimeFFT(hann(FFT_FRAMES, sym=False), hop=HOP_FRAMES, fs=1.0)
    spectra = stft.stft(samples, axis=0)  # (n_bins, n_channels, n_hops)
    loudness = np.sqrt((np.abs(spectra) ** 2).sum(axis=1)).astype(np.float32)
    across_time = _median_along(loudness, MEDIAN_HOPS) ** 2
    across_pitch = _median_along(np.ascontiguousarray(loudness.T), MEDIAN_BINS).T ** 2
    kept = across_time if part == "harmonic" else across_pitch
    mask = kept / (across_time + across_pitch + _TINY)
    if part == "harmonic":  # silence belongs to one side, so that the parts add up
        mask[across_time + across_pitch < _TINY] = 1.0
    spectra *= mask[:, None, :]
    sound = stft.istft(spectra, k1=len(samples), f_axis=0, t_axis=-1)
    return np.ascontiguousarray(sound.real.astype(np.float32))


@numba.njit(cache=True)  # type: ignore[untyped-decorator]  # numba ships no types
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
