"""The hall that sends go to: stereo, wet only, rings out to the end of the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import run_board
from segue.audio.clip import Clip

if TYPE_CHECKING:
    import numpy.typing as npt
    from pedalboard import Pedalboard

ROOM_SIZE: Final = 0.7  # the library's, 0 to 1: a hall that falls by 60 dB in 1.8 s; by judgement
DAMPING: Final = 0.45  # the library's, 0 to 1: how soon its top is gone; by judgement
UNITY_WET: Final = 0.18
"""Wet level: steady pink noise, the same on both sides, comes back 7.5 dB softer; measured."""
RINGS_S: Final = 8.0
"""After this long it is over: it falls by 60 dB in 1.8 s, to the effect's own rounding at
-125 dBFS."""
SEND_FROM_HZ: Final = 140.0
"""Bass is kept out of the hall, where it would only blur; set by judgement."""
_BLOCK_FRAMES: Final = 1 << 17  # frames at once, to hold little memory
_FEWEST_FRAMES: Final = 2
"""Effects take no fewer frames than channels; nothing comes back so soon anyway."""


def hall(send: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    """What comes back from the hall.

    Parameters
    ----------
    send : ndarray, shape (n_frames, 2), float32
        With zeros after the sound for as long as the tail may ring.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        At 0 dB of send some 8 dB softer than the send.
    """
    from pedalboard import HighpassFilter, Pedalboard, Reverb

    board = Pedalboard(
        [
            HighpassFilter(SEND_FROM_HZ),
            Reverb(room_size=ROOM_SIZE, damping=DAMPING, wet_level=UNITY_WET, dry_level=0.0),
        ]
    )
    return through(board, send, rate_hz)


def through(
    board: Pedalboard, sound: npt.NDArray[np.float32], rate_hz: int
) -> npt.NDArray[np.float32]:
    """Sound after effects that say nothing before they are given something.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, 2), float32

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        The same as in one call, but worked out block by block, to hold little memory.
    """
    back = np.zeros_like(sound)
    heard = sound.ravel() != 0.0
    first = int(np.argmax(heard)) // sound.shape[1] if heard.any() else len(sound)
    for begin in range(first, len(sound) - _FEWEST_FRAMES, _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        clip = Clip(samples=sound[block], rate_hz=rate_hz)
        back[block] = run_board(board, clip, reset=begin == first).samples
    return back
