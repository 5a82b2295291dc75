"""Sound read at any speed, without aliasing.

Between frames the sound is interpolated by a sinc under a Kaiser window
[Smi84]_; where it is read faster than it was written, the sinc is stretched
so that what would lie above the new upper limit is taken out.

References
----------
.. [Smi84] J. Smith and P. Gossett, "A flexible sampling-rate conversion
   method", ICASSP 1984.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numba
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

FINE_CROSSINGS: Final = 24
_STEPS: Final = 1_024
_KAISER: Final = 10.0
"""Zero crossings on each side, table points between two, and window shape: 100 dB."""
_GUARD_RATIO: Final = 0.1
_GUARD_FROM_STEP: Final = 0.01
"""Read at least 1 % faster, the upper limit is this much lower, to hold the filter's slope."""


def read_at(
    sound: npt.NDArray[np.float32],
    positions_frames: npt.NDArray[np.float64],
    *,
    crossings: int = FINE_CROSSINGS,
) -> npt.NDArray[np.float32]:
    """Sound at positions between its frames.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, n_channels), float32
        Silence outside.
    positions_frames : ndarray, shape (n_read,)
        Ascending; need not be whole.
    crossings : int, optional
        Reach of the sinc to each side; half of it does for sound that has
        little near the top of its band.

    Returns
    -------
    ndarray, shape (n_read, n_channels), float32
        The frames themselves, bit for bit, where positions are whole and one apart.
    """
    steps = np.gradient(positions_frames) if len(positions_frames) > 1 else np.ones(1)
    faster = np.clip((steps - 1.0) / _GUARD_FROM_STEP, 0.0, 1.0)
    limits = (1.0 - _GUARD_RATIO * faster) / np.maximum(steps, 1.0)
    read: npt.NDArray[np.float32] = _read(
        sound, positions_frames, limits, _kernel(crossings), crossings
    )
    return read


@cache
def _kernel(crossings: int) -> npt.NDArray[np.float64]:
    """Half a windowed sinc, `_STEPS` points from one zero crossing to the next."""
    x = np.arange(crossings * _STEPS + 2) / _STEPS
    window = np.i0(_KAISER * np.sqrt(np.clip(1 - (x / crossings) ** 2, 0, 1))) / np.i0(_KAISER)
    kernel: npt.NDArray[np.float64] = np.sinc(x) * np.where(x <= crossings, window, 0.0)
    kernel.flags.writeable = False
    return kernel


@numba.njit(cache=True)
def _read(sound, positions, limits, kernel, crossings):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    n_frames, n_channels = sound.shape
    out = np.zeros((len(positions), n_channels), dtype=np.float32)
    for row in range(len(positions)):
        place, limit = positions[row], limits[row]
        nearest = int(np.round(place))
        if limit >= 1.0 and abs(place - nearest) < 1e-7:  # noqa: PLR2004 - rounding of positions
            if 0 <= nearest < n_frames:
                for channel in range(n_channels):
                    out[row, channel] = sound[nearest, channel]
            continue
        reach = crossings / limit
        low = max(int(np.ceil(place - reach)), 0)
        high = min(int(np.floor(place + reach)), n_frames - 1)
        left = right = 0.0
        for frame in range(low, high + 1):
            at = abs(frame - place) * limit * _STEPS
            index = int(at)
            share = at - index
            weight = kernel[index] + share * (kernel[index + 1] - kernel[index])
            left += weight * sound[frame, 0]
            if n_channels > 1:
                right += weight * sound[frame, 1]
        out[row, 0] = left * limit
        if n_channels > 1:
            out[row, 1] = right * limit
    return out
