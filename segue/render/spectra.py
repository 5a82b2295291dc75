"""A sound's overlapping spectra, a block of them at a time.

All of them at once would take ten times the memory of the sound. Inside,
channels come first, so that every transform runs over neighbours in memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.rubber import excerpt

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

OVERLAP: Final = 4
SQUARES: Final = 1.5
"""What the squares of that many overlapping Hann windows add up to."""
BLOCK_HOPS: Final = 64


class Frames:
    """The windowed spectra of a sound, four windows over every frame of it.

    Hop 0 is centred one hop before the first frame.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
        Silence is taken before and after it.
    window : int
        Frames to a spectrum.
    """

    def __init__(self, samples: npt.NDArray[np.float32], window: int) -> None:
        self.samples, self.window, self.hop = samples, window, window // OVERLAP
        self.n_hops = -(-len(samples) // self.hop) + OVERLAP - 1
        self.n_bins = window // 2 + 1

    def blocks(self) -> Iterator[tuple[slice, npt.NDArray[np.complex64]]]:
        """Some hops, and their spectra, (n_channels, n_hops, n_bins)."""
        for first in range(0, self.n_hops, BLOCK_HOPS):
            last = min(first + BLOCK_HOPS, self.n_hops)
            begin = (first - OVERLAP + 1) * self.hop
            part = excerpt(self.samples, begin, (last - first - 1) * self.hop + self.window)
            starts = np.arange(last - first) * self.hop
            yield slice(first, last), spectra_at(np.ascontiguousarray(part.T), starts, self.window)

    def times(self, gains: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """The sound with a gain on every bin of every hop.

        Parameters
        ----------
        gains : ndarray, shape (n_channels or 1, n_hops, n_bins), float32

        Returns
        -------
        ndarray, shape (n_frames, n_channels), float32
        """
        added = Added(self.samples.shape[1], self.n_hops, self.window)
        for hops, spectra in self.blocks():
            added.add(hops.start, spectra * gains[:, hops])
        return added.sound((OVERLAP - 1) * self.hop, len(self.samples))


class Added:
    """The sound that spectra one hop apart add up to.

    Parameters
    ----------
    n_channels, n_hops : int
    window : int
        Frames to a spectrum; a quarter of it is a hop.
    """

    def __init__(self, n_channels: int, n_hops: int, window: int) -> None:
        self._shape = hann(window) / np.float32(SQUARES)
        self._rows = np.zeros((n_channels, n_hops + OVERLAP - 1, window // OVERLAP), np.float32)

    def add(self, first: int, spectra: npt.NDArray[np.complex64]) -> None:
        """Add spectra, (n_channels, n_hops, n_bins), from a hop on."""
        from scipy.fft import irfft

        pieces = irfft(spectra, overwrite_x=True)
        pieces *= self._shape
        n_channels, n_hops, _ = pieces.shape
        quarters = pieces.reshape(n_channels, n_hops, OVERLAP, -1)
        for quarter in range(OVERLAP):
            rows = self._rows[:, first + quarter : first + quarter + n_hops]
            rows += quarters[:, :, quarter]

    def sound(self, first_frame: int, n_frames: int) -> npt.NDArray[np.float32]:
        """Part of the sum, (n_frames, n_channels), counted from the start of hop 0's window."""
        planar = self._rows.reshape(len(self._rows), -1)
        return np.ascontiguousarray(planar[:, first_frame : first_frame + n_frames].T)


def spectra_at(
    planar: npt.NDArray[np.float32], starts: npt.NDArray[np.int64], window: int
) -> npt.NDArray[np.complex64]:
    """Windowed spectra from some frames on.

    Parameters
    ----------
    planar : ndarray, shape (n_channels, n_frames), float32
    starts : ndarray, shape (n_hops,)
        First frame of each window.
    window : int

    Returns
    -------
    ndarray, shape (n_channels, n_hops, window // 2 + 1)
    """
    from scipy.fft import rfft

    runs = np.lib.stride_tricks.sliding_window_view(planar, window, axis=1)[:, starts]
    spectra: npt.NDArray[np.complex64] = rfft(runs * hann(window), overwrite_x=True)
    return spectra


def hann(window: int) -> npt.NDArray[np.float32]:
    """A periodic Hann window."""
    return np.hanning(window + 1)[:-1].astype(np.float32)
