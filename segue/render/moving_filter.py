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
_WARM_UP_S: Final = 0.5
"""A filter is run this long before it acts: its memory at 20 Hz is shorter."""
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
    return _filtered(samples, cutoff_hz, rate_hz, high=False)


def highpassed(
    samples: npt.NDArray[np.float32], cutoff_hz: npt.NDArray[np.float64], rate_hz: int
) -> npt.NDArray[np.float32]:
    """Audio after a moving 24 dB an octave high-pass, open at 20 Hz; as `lowpassed` otherwise."""
    return _filtered(samples, cutoff_hz, rate_hz, high=True)


def _filtered(
    samples: npt.NDArray[np.float32],
    cutoff_hz: npt.NDArray[np.float64],
    rate_hz: int,
    *,
    high: bool,
) -> npt.NDArray[np.float32]:
    is_open = cutoff_hz <= OPEN_HIGHPASS_HZ if high else cutoff_hz >= OPEN_LOWPASS_HZ
    if is_open.all():
        return samples
    first = max(int(np.argmin(is_open)) - round(_WARM_UP_S * rate_hz), 0)
    used = slice(first, len(is_open) - int(np.argmin(is_open[::-1])))
    out = samples.copy()
    open_hz = OPEN_HIGHPASS_HZ if high else OPEN_LOWPASS_HZ
    _cascade(out[used], cutoff_hz[used], rate_hz, open_hz, DAMPINGS, high)
    return out


@numba.njit(cache=True, fastmath=False)
def _cascade(sound, cutoff_hz, rate_hz, open_hz, dampings, high):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Filter in place; what depends on the cutoff is worked out again only where it moves."""
    damping_a, damping_b = dampings
    states = np.zeros((sound.shape[1], 4))
    last_hz = g = dry = da = db = 0.0
    for frame in range(sound.shape[0]):
        if cutoff_hz[frame] != last_hz:
            last_hz = cutoff_hz[frame]
            # the bilinear transform maps cutoff to this integrator gain
            g = np.tan(np.pi * min(max(last_hz / rate_hz, LOWEST_RATIO), HIGHEST_RATIO))
            da = 1.0 / (1.0 + g * (g + damping_a))
            db = 1.0 / (1.0 + g * (g + damping_b))
            beyond = open_hz / last_hz if high else last_hz / open_hz
            share = min(max(np.log(beyond * _OPENING_RATIO) / np.log(_OPENING_RATIO), 0.0), 1.0)
            dry = share * share * (3 - 2 * share)
        for channel in range(sound.shape[1]):
            a1, a2, b1, b2 = states[channel]
            clean = float(sound[frame, channel])
            band = (a1 + g * (clean - a2)) * da
            low = a2 + g * band
            a1, a2 = 2.0 * band - a1, 2.0 * low - a2
            x = clean - damping_a * band - low if high else low
            band = (b1 + g * (x - b2)) * db
            low = b2 + g * band
            b1, b2 = 2.0 * band - b1, 2.0 * low - b2
            wet = x - damping_b * band - low if high else low
            if dry < 1.0:
                sound[frame, channel] = wet + dry * (clean - wet)
            states[channel, 0], states[channel, 1] = a1, a2
            states[channel, 2], states[channel, 3] = b1, b2
