"""Sound read at any speed, without aliasing.

Between frames the sound is interpolated by a sinc under a Kaiser window
[Smi84]_; where it is read faster than it was written, the sinc is stretched
so that what would lie above the new upper limit is taken out.

A chorus without images: the sound beside a copy whose delay sways.

A delay that sways is read between frames; straight lines there, as most
choruses draw them, leave side tones only 65 dB down. Here a windowed sinc reads.

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
    from segue.arrays import Floats, Floats32

RATE_HZ: Final = 0.35  # how fast the copy sways
DELAY_S: Final = 0.009  # seconds around which it sways
SWAY_S: Final = 0.0018  # seconds it sways to either side
WET_SHARE: Final = 0.35
"""How fast, where around and how far the copy sways, and its share; set by judgement."""
_BLOCK_FRAMES: Final = 1 << 16  # frames at once, to hold little memory; changes no sample


def chorused(sound: Floats32, rate_hz: int, *, first_frame: int = 0) -> Floats32:
    """Sound in a chorus, left and right swaying a quarter turn apart.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, 2), float32
    first_frame : int, optional
        Where in its sway the chorus starts.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
    """
    mixed = np.float32(1 - WET_SHARE) * sound
    for channel, start in enumerate((0.0, 0.25)):
        side = np.ascontiguousarray(sound[:, channel : channel + 1])
        for begin in range(0, len(sound), _BLOCK_FRAMES):
            frames = np.arange(begin, min(begin + _BLOCK_FRAMES, len(sound)))
            turns = RATE_HZ * (frames + first_frame) / rate_hz
            delay_s = DELAY_S + SWAY_S * np.sin(2 * np.pi * (turns + start))
            places = frames - delay_s * rate_hz
            wet = read_at(side, places, crossings=FINE_CROSSINGS // 2, has_headroom=True)
            mixed[frames[0] : frames[-1] + 1, channel] += np.float32(WET_SHARE) * wet[:, 0]
    return mixed


FINE_CROSSINGS: Final = 24  # zero crossings of the sinc on each side
_STEPS: Final = 1_024  # points of the table between two of them
_KAISER: Final = 10.0
"""Zero crossings on each side, table points between two, and window shape: 100 dB."""
_GUARD_RATIO: Final = 0.1  # how much lower the limit is
_GUARD_FROM_STEP: Final = 0.01
"""Read at least 1 % faster, the upper limit is this much lower, to hold the filter's slope."""


def read_at(
    sound: Floats32,
    positions_frames: Floats,
    *,
    crossings: int = FINE_CROSSINGS,
    has_headroom: bool = False,
) -> Floats32:
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
    has_headroom : bool, optional
        Nothing in the sound would fold if it is read a little faster than it was
        written, so that no limit is needed. Far quicker.

    Returns
    -------
    ndarray, shape (n_read, n_channels), float32
        The frames themselves, bit for bit, where positions are whole and one apart.
    """
    if has_headroom:
        table = _phases(crossings)
        channels = [_read_near(np.ascontiguousarray(c), positions_frames, table) for c in sound.T]
        return np.stack(channels, axis=1)
    steps = np.gradient(positions_frames) if len(positions_frames) > 1 else np.ones(1)
    faster = np.clip((steps - 1.0) / _GUARD_FROM_STEP, 0.0, 1.0)
    limits = (1.0 - _GUARD_RATIO * faster) / np.maximum(steps, 1.0)
    read: Floats32 = _read(sound, positions_frames, limits, _kernel(crossings), crossings)
    return read


@cache
def _kernel(crossings: int) -> Floats:
    """Half a windowed sinc, `_STEPS` points from one zero crossing to the next."""
    x = np.arange(crossings * _STEPS + 2) / _STEPS
    window = np.i0(_KAISER * np.sqrt(np.clip(1 - (x / crossings) ** 2, 0, 1))) / np.i0(_KAISER)
    kernel: Floats = np.sinc(x) * np.where(x <= crossings, window, 0.0)
    kernel.flags.writeable = False
    return kernel


@cache
def _phases(crossings: int) -> Floats32:
    """The kernel as it lies on the frames around, (_STEPS + 1, 2 * crossings)."""
    offsets = np.arange(1 - crossings, crossings + 1) * _STEPS
    places = np.abs(offsets[None, :] - np.arange(_STEPS + 1)[:, None])
    table: Floats32 = _kernel(crossings)[places].astype(np.float32)
    table.flags.writeable = False
    return table


@numba.njit(cache=True, nogil=True, fastmath={"reassoc", "contract"})
def _read_near(channel, positions, phases):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    n_taps = phases.shape[1]
    out = np.zeros(len(positions), dtype=np.float32)
    for row in range(len(positions)):
        whole = int(np.floor(positions[row]))
        at = (positions[row] - whole) * _STEPS
        index = min(int(at), _STEPS - 1)
        share = np.float32(at - index)
        first = whole + 1 - n_taps // 2
        total = np.float32(0.0)
        for tap in range(max(0, -first), min(n_taps, len(channel) - first)):
            weight = phases[index, tap]
            weight += share * (phases[index + 1, tap] - weight)
            total += weight * channel[first + tap]
        out[row] = total
    return out


@numba.njit(cache=True, nogil=True)
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
