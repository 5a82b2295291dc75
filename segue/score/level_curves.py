"""Loudness and brightness of the music over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.envelope import mono_of
from segue.audio.loudness import momentary_lufs

if TYPE_CHECKING:
    from segue.audio.clip import Clip

Floats = npt.NDArray[np.float64]

HOP_S: Final = 0.1  # seconds between points of a curve
_FLOOR_LUFS: Final = -100.0  # silence, below the gate of BS.1770 at -70
_HOPS_AT_ONCE: Final = 128  # to hold little memory; changes no value


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelCurves:
    """Curves every `HOP_S`.

    Parameters
    ----------
    times_s : ndarray, shape (n_blocks,)
        Middle of each block of 0.4 s.
    loudness_lufs : ndarray, shape (n_blocks,)
        Momentary loudness, not below -100.
    centroid_octaves : ndarray, shape (n_blocks,)
        Mean of the magnitude spectrum in octaves above 1 kHz; NaN where it is silent.
    """

    times_s: Floats
    loudness_lufs: Floats
    centroid_octaves: Floats


def levels_of(music: Clip) -> LevelCurves:
    """Loudness and brightness of a clip."""
    times_s, lufs = momentary_lufs(music, hop_s=HOP_S)
    return LevelCurves(
        times_s=times_s,
        loudness_lufs=np.maximum(lufs, _FLOOR_LUFS),
        centroid_octaves=_centroids(music, times_s),
    )


def _centroids(music: Clip, times_s: Floats) -> Floats:
    from scipy import fft

    mono = mono_of(music.samples)
    n_window = fft.next_fast_len(round(HOP_S * music.rate_hz))
    starts = np.round(times_s * music.rate_hz).astype(int) - n_window // 2
    starts = np.clip(starts, 0, max(0, len(mono) - n_window))
    padded = np.pad(mono, (0, max(0, n_window - len(mono))))
    windows = np.lib.stride_tricks.sliding_window_view(padded, n_window)
    shape = np.hanning(n_window).astype(np.float32)
    octaves = np.log2(fft.rfftfreq(n_window, 1.0 / music.rate_hz)[1:] / 1000.0)
    total, weighted = np.zeros(len(starts)), np.zeros(len(starts))
    for first in range(0, len(starts), _HOPS_AT_ONCE):  # some at a time, to hold little memory
        hops = slice(first, first + _HOPS_AT_ONCE)
        magnitude = np.abs(fft.rfft(windows[starts[hops]] * shape, axis=1))[:, 1:]
        total[hops] = magnitude.sum(axis=1)
        weighted[hops] = magnitude @ octaves
    is_silent = total <= 1e-4 * max(float(total.max(initial=0.0)), 1e-6)
    return np.where(is_silent, np.nan, weighted / np.where(is_silent, 1.0, total))
