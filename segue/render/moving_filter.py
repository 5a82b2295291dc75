"""Filters whose cutoff moves every frame without a sound of its own.

Two second-order sections in cascade make a 24 dB an octave Butterworth filter
(section qualities 1 / (2 cos(pi/8)) and 1 / (2 cos(3 pi/8))). Each section is a
state-variable filter with trapezoidal integrators [Zav]_, whose state stays
meaningful while the cutoff moves.

References
----------
.. [Zav] V. Zavalishin, "The Art of VA Filter Design", 2012-2018, chapter 4
   (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numba
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

DAMPINGS: Final = (2 * np.cos(np.pi / 8), 2 * np.cos(3 * np.pi / 8))
"""1 / quality of the two sections of a fourth-order Butterworth filter."""
LOWEST_RATIO: Final = 1e-4
OPEN_LOWPASS_HZ: Final = 18_000.0
OPEN_HIGHPASS_HZ: Final = 20.0
"""From here on outwards a filter is open: sound passes bit for bit."""
_OPENING_RATIO: Final = 1.2
"""A filter opens over this ratio of frequency."""
HIGHEST_RATIO: Final = 0.49
"""Cutoffs are held below this share of the rate."""


def lowpassed(
    samples: npt.NDArray[np.float32], cutoff_hz: npt.NDArray[np.float64], rate_hz: int
) -> npt.NDArray[np.float32]:
    """Audio after a moving 24 dB an octave low-pass.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    cutoff_hz : ndarray, shape (n_frames,)
    rate_hz : int

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
        Unchanged, bit for bit, wherever the cutoff is at least 18 kHz.
    """
    openness = np.log(cutoff_hz * _OPENING_RATIO / OPEN_LOWPASS_HZ) / np.log(_OPENING_RATIO)
    return _filtered(samples, cutoff_hz / rate_hz, openness, high=False)


def highpassed(
    samples: npt.NDArray[np.float32], cutoff_hz: npt.NDArray[np.float64], rate_hz: int
) -> npt.NDArray[np.float32]:
    """Audio after a moving 24 dB an octave high-pass, open at 20 Hz; as `lowpassed` otherwise."""
    openness = np.log(OPEN_HIGHPASS_HZ * _OPENING_RATIO / cutoff_hz) / np.log(_OPENING_RATIO)
    return _filtered(samples, cutoff_hz / rate_hz, openness, high=True)


def _filtered(
    samples: npt.NDArray[np.float32],
    cutoff_ratio: npt.NDArray[np.float64],
    openness: npt.NDArray[np.float64],
    *,
    high: bool,
) -> npt.NDArray[np.float32]:
    if np.all(openness >= 1):
        return samples
    # the bilinear transform maps cutoff to this integrator gain
    warped = np.tan(np.pi * np.clip(cutoff_ratio, LOWEST_RATIO, HIGHEST_RATIO))
    share = np.clip(openness, 0.0, 1.0)
    dry = share * share * (3 - 2 * share)
    filtered: npt.NDArray[np.float32] = _cascade(samples, warped, dry, DAMPINGS, high)
    return filtered


@numba.njit(cache=True, fastmath=False)
def _cascade(samples, warped, dry, dampings, high):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    damping_a, damping_b = dampings
    out = np.empty((samples.shape[0], samples.shape[1]), dtype=np.float32)
    for channel in range(samples.shape[1]):
        a1 = a2 = b1 = b2 = 0.0
        for frame in range(samples.shape[0]):
            g = warped[frame]
            x = float(samples[frame, channel])
            d = 1.0 / (1.0 + g * (g + damping_a))
            band = (a1 + g * (x - a2)) * d
            low = a2 + g * band
            a1, a2 = 2.0 * band - a1, 2.0 * low - a2
            x = x - damping_a * band - low if high else low
            d = 1.0 / (1.0 + g * (g + damping_b))
            band = (b1 + g * (x - b2)) * d
            low = b2 + g * band
            b1, b2 = 2.0 * band - b1, 2.0 * low - b2
            wet = x - damping_b * band - low if high else low
            share = dry[frame]
            if share >= 1.0:
                out[frame, channel] = samples[frame, channel]
            else:
                out[frame, channel] = wet + share * (samples[frame, channel] - wet)
    return out
