"""The outline of a waveform, for pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt


def outline(
    samples: npt.NDArray[np.float32], n_columns: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Lowest and highest value of sound over all channels, column by column.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
        At least as many frames as columns.

    Returns
    -------
    first_frames, low, high : ndarray, shape (n_columns,)
        Where each column starts, and its extremes at full scale ±1.

    Examples
    --------
    >>> first, low, high = outline(np.array([[0.25], [-0.5], [0.5], [0.0]], np.float32), 2)
    >>> first.tolist(), low.tolist(), high.tolist()
    ([0, 2], [-0.5, 0.0], [0.25, 0.5])
    """
    first_frames = np.linspace(0, len(samples), n_columns + 1).astype(np.intp)[:-1]
    # channel by channel: many times quicker than across the few channels of every frame
    channels = [np.ascontiguousarray(channel) for channel in samples.T]
    low = np.min([np.minimum.reduceat(channel, first_frames) for channel in channels], axis=0)
    high = np.max([np.maximum.reduceat(channel, first_frames) for channel in channels], axis=0)
    return first_frames, low, high
