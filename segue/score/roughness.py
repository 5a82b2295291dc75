"""Sensory roughness: how much partials beat against each other, as published.

References
----------
.. [HK78] W. Hutchinson and L. Knopoff, "The acoustic component of Western
   consonance", Interface 7(1), 1978, 1-29.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

CRITICAL_BAND_HZ: Final = (1.72, 0.65)
"""Width of a critical band is 1.72 times the mean frequency to the power 0.65 [HK78]_."""
_ROUGHEST_BANDS: Final = 0.25
_SMOOTH_BANDS: Final = 1.2


def pair_roughness(first_hz: npt.ArrayLike, second_hz: npt.ArrayLike) -> Floats:
    """Roughness 0..1 of pairs of equal partials [HK78]_; 1 at a quarter of a critical band.

    Examples
    --------
    >>> pair_roughness([400.0, 440.0], [400.0, 4000.0]).tolist()
    [0.0, 0.0]
    """
    first, second = np.asarray(first_hz, dtype=np.float64), np.asarray(second_hz, dtype=np.float64)
    factor, power = CRITICAL_BAND_HZ
    bands = np.abs(first - second) / (factor * ((first + second) / 2.0) ** power)
    share = bands / _ROUGHEST_BANDS
    rough = (share * np.exp(1.0 - share)) ** 2
    return np.asarray(np.where(bands > _SMOOTH_BANDS, 0.0, rough))


def roughness(partial_hz: Floats, amplitude: Floats) -> float:
    """Roughness of a sound [HK78]_: 0 for one partial, about 0.5 for a semitone.

    Parameters
    ----------
    partial_hz, amplitude : ndarray, shape (n_partials,)
        Frequencies and linear amplitudes.

    Returns
    -------
    float
        Does not change with gain.
    """
    rough = pair_roughness(partial_hz[:, np.newaxis], partial_hz)
    pairs = np.outer(amplitude, amplitude) * np.triu(rough, k=1)
    return float(pairs.sum() / (amplitude**2).sum())


def roughness_between(
    first_hz: Floats, first_amplitude: Floats, second_hz: Floats, second_amplitude: Floats
) -> Floats:
    """Roughness that two sounds make together and neither makes alone [HK78]_.

    The pairs of partials with one in each sound, over the power of both sounds:
    what `roughness` of the sum has beyond the power-weighted mean of the two.

    Parameters
    ----------
    first_hz, first_amplitude, second_hz, second_amplitude : ndarray, shape (n_hops, n_partials)
        Frequencies and linear amplitudes, hop by hop; amplitude 0 for none.

    Returns
    -------
    ndarray, shape (n_hops,)
        0 where both are silent.
    """
    rough = pair_roughness(first_hz[:, :, np.newaxis], second_hz[:, np.newaxis, :])
    cross = np.einsum("hi,hj,hij->h", first_amplitude, second_amplitude, rough)
    power = (first_amplitude**2).sum(axis=1) + (second_amplitude**2).sum(axis=1)
    return np.asarray(cross / np.maximum(power, np.finfo(np.float64).tiny))
