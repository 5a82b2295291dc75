"""Cross-fades that keep the level, whatever the two sides have in common.

With correlation r between the sides, gains sin(x) / sqrt(1 + r sin 2x) and
cos(x) / sqrt(1 + r sin 2x) keep the power constant: equal-gain for r = 1,
equal-power for r = 0 (derived from the power of a sum).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt


def correlation(a: npt.NDArray[np.float32], b: npt.NDArray[np.float32]) -> float:
    """Normalised correlation of two passages of equal shape, 0 where one is silent."""
    x, y = a.astype(np.float64).ravel(), b.astype(np.float64).ravel()
    scale = float(np.sqrt(x @ x) * np.sqrt(y @ y))
    return float(x @ y) / scale if scale > 0 else 0.0


def crossfaded(
    before: npt.NDArray[np.float32], after: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    """From one passage to another over their whole length.

    Parameters
    ----------
    before, after : ndarray, shape (n_frames, n_channels)
        The same instants, from the two sides.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    shared = min(max(correlation(before, after), 0.0), 1.0)
    angle = (np.arange(len(before)) + 0.5) / len(before) * (np.pi / 2)
    level = np.sqrt(1 + shared * np.sin(2 * angle))
    fade_out, fade_in = (np.cos(angle) / level)[:, None], (np.sin(angle) / level)[:, None]
    mixed: npt.NDArray[np.float32] = (before * fade_out + after * fade_in).astype(np.float32)
    return mixed
