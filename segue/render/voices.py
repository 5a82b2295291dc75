"""Several detuned voices of one note, each reading a pair of cycles in its own slow movement."""

from __future__ import annotations

import numba
import numpy as np

DRIFT_RATIO = 0.00115
"""Each voice's pitch moves this much either way: 2 cents."""

STRAIGHT_FRAMES = 64
"""The slow movement is drawn by straight lines of this length; it is less than 2e-7 off."""


@numba.njit(cache=True)
def add_voices(onto, tables, envelope, steps, voices, randoms, rate_hz):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201, PLR0913
    """Add one note's voices to a stereo bus.

    Parameters
    ----------
    onto : ndarray, shape (n_frames, 2)
        Written to.
    tables : ndarray, shape (2, n_points + 1)
        A dark and a bright cycle, the last point repeating the first.
    envelope, steps : ndarray, shape (n_frames,)
        Level, and points of the table a frame.
    voices : ndarray, shape (n_voices, 3)
        Factor on the pitch, level on the left and on the right.
    randoms : ndarray, shape (n_voices, 3)
        0 to 1: phase of the cycle, phase and speed of the movement.
    rate_hz : int
    """
    size = tables.shape[1] - 1
    for voice in range(voices.shape[0]):
        detune, left, right = voices[voice]
        phase = randoms[voice, 0] * size
        turn = 2 * np.pi * randoms[voice, 1]
        slow = 2 * np.pi * (0.07 + 0.11 * randoms[voice, 2]) / rate_hz
        move = step = 0.0
        for frame in range(envelope.shape[0]):
            if frame % STRAIGHT_FRAMES == 0:
                move = np.sin(turn + slow * frame)
                step = (np.sin(turn + slow * (frame + STRAIGHT_FRAMES)) - move) / STRAIGHT_FRAMES
            else:
                move += step
            index = int(phase)
            share = phase - index
            dark = tables[0, index] + share * (tables[0, index + 1] - tables[0, index])
            bright = tables[1, index] + share * (tables[1, index + 1] - tables[1, index])
            value = envelope[frame] * (dark + (0.5 + 0.5 * move) * (bright - dark))
            onto[frame, 0] += left * value
            onto[frame, 1] += right * value
            phase += steps[frame] * detune * (1.0 + DRIFT_RATIO * move)
            if phase >= size:
                phase -= size
