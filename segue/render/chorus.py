"""A chorus without images: the sound beside a copy whose delay sways.

A delay that sways is read between frames; straight lines there, as most
choruses draw them, leave side tones only 65 dB down. Here a windowed sinc reads.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.varispeed import FINE_CROSSINGS, read_at

if TYPE_CHECKING:
    import numpy.typing as npt

RATE_HZ: Final = 0.35
DELAY_S: Final = 0.009
SWAY_S: Final = 0.0018
WET_SHARE: Final = 0.35
"""How fast, where around and how far the copy sways, and its share; set by judgement."""
_BLOCK_FRAMES: Final = 1 << 16


def chorused(
    sound: npt.NDArray[np.float32], rate_hz: int, *, first_frame: int = 0
) -> npt.NDArray[np.float32]:
    """Sound in a chorus, left and right swaying a quarter turn apart.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, 2), float32
    rate_hz : int
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
