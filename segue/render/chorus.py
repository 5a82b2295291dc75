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


def chorused(sound: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    """Sound in a chorus, left and right swaying a quarter turn apart.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, 2), float32
    rate_hz : int

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
    """
    frames = np.arange(len(sound))
    turns = RATE_HZ * frames / rate_hz
    copies = []
    for channel, start in enumerate((0.0, 0.25)):
        delay_s = DELAY_S + SWAY_S * np.sin(2 * np.pi * (turns + start))
        side = np.ascontiguousarray(sound[:, channel : channel + 1])
        copies.append(read_at(side, frames - delay_s * rate_hz, crossings=FINE_CROSSINGS // 2))
    wet = np.concatenate(copies, axis=1)
    mixed: npt.NDArray[np.float32] = (1 - WET_SHARE) * sound + WET_SHARE * wet
    return mixed.astype(np.float32)
