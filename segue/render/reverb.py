"""The hall that sends go to: stereo, wet only, rings out to the end of the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.audio.adapters import run_board
from segue.audio.clip import Clip

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

ROOM_SIZE: Final = 0.7
DAMPING: Final = 0.45
UNITY_WET: Final = 0.18
"""Wet level at which steady pink noise comes back as loud as it went in; measured."""
SEND_FROM_HZ: Final = 140.0
"""Bass is kept out of the hall, where it would only blur; set by judgement."""


def hall(send: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    """What comes back from the hall.

    Parameters
    ----------
    send : ndarray, shape (n_frames, 2), float32
        With zeros after the sound for as long as the tail may ring.
    rate_hz : int

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        At 0 dB of send, about as loud as the send.
    """
    from pedalboard import HighpassFilter, Pedalboard, Reverb

    board = Pedalboard(
        [
            HighpassFilter(SEND_FROM_HZ),
            Reverb(room_size=ROOM_SIZE, damping=DAMPING, wet_level=UNITY_WET, dry_level=0.0),
        ]
    )
    return run_board(board, Clip(samples=send, rate_hz=rate_hz)).samples
