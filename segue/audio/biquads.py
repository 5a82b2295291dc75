"""Filters of second order in a row, as `scipy.signal.sosfilt` runs them, without its package.

That package takes three quarters of a second of a draft's two to load (statistics, optimisation
and splines come with it), and a draft needs this of it alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numba
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def filtered(sections: Floats, sound: Floats, state: Floats | None = None) -> Floats:
    """Sound through filters of second order, one after another.

    Parameters
    ----------
    sections : ndarray, shape (n_sections, 6)
        Numerator and denominator of each, the latter beginning with 1.
    sound : ndarray, shape (n_frames,)
    state : ndarray, shape (n_sections, 2), optional
        What each section remembers: read, and written for the sound that follows. None is rest.
    """
    out = np.array(sound, dtype=np.float64)
    rest = np.zeros((len(sections), 2)) if state is None else state
    _run(np.ascontiguousarray(sections, dtype=np.float64), out, rest)
    return out


def first_order_lowpass(cutoff_hz: float, rate_hz: int) -> Floats:
    """A low-pass of first order as one section: 3 dB down at its cutoff, by bilinear transform.

    Examples
    --------
    >>> first_order_lowpass(12_000.0, 48_000).round(9).tolist()
    [[0.5, 0.5, 0.0, 1.0, -0.0, 0.0]]
    """
    gain = math.tan(math.pi * cutoff_hz / rate_hz)
    share = gain / (1.0 + gain)
    return np.array([[share, share, 0.0, 1.0, (gain - 1.0) / (gain + 1.0), 0.0]])


@numba.njit(cache=True, fastmath=False)
def _run(sections, sound, state):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """In place, in the transposed direct form II."""
    for number in range(len(sections)):
        b0, b1, b2 = sections[number, 0], sections[number, 1], sections[number, 2]
        a1, a2 = sections[number, 4], sections[number, 5]
        first, second = state[number, 0], state[number, 1]
        for frame in range(len(sound)):
            x = sound[frame]
            y = b0 * x + first
            first = b1 * x - a1 * y + second
            second = b2 * x - a2 * y
            sound[frame] = y
        state[number, 0], state[number, 1] = first, second
