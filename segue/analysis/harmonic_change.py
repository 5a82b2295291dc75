"""Where the harmony and the bass change: evidence of bar lines.

The spectrum of a long window is folded into semitones; the change at a hop is the distance of
what sounds just after from what sounded just before.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import fft, ndimage

from segue.analysis.onsets import HOP_FRAMES, HOP_S, RATE_HZ

if TYPE_CHECKING:
    import numpy.typing as npt

_WINDOW_FRAMES: Final = 4096
_STEP_HOPS: Final = 4
_LOWEST_MIDI: Final = 33
_BASS_TOP_MIDI: Final = 52
_TOP_MIDI: Final = 88
_LOOK_S: Final = 0.3
_LONG_LOOK_S: Final = 0.9
_SLOW_S: Final = 8.0


def harmonic_change(mono: npt.NDArray[np.float32], n_hops: int) -> npt.NDArray[np.float64]:
    """Change of harmony, bass and long harmony at every hop, about 1 on average.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound at `RATE_HZ`.
    n_hops : int
        Number of hops of `HOP_S` to describe.

    Returns
    -------
    ndarray, shape (n_hops, 3)
        Change of harmony within 0.3 s, of the bass, and of harmony within 0.9 s.
    """
    semitones = _semitone_levels(mono)
    n_bass = _BASS_TOP_MIDI - _LOWEST_MIDI
    folded = np.zeros((len(semitones), 12))
    for midi in range(_LOWEST_MIDI + n_bass, _TOP_MIDI):
        folded[:, midi % 12] += semitones[:, midi - _LOWEST_MIDI]
    step_s = _STEP_HOPS * HOP_S
    looks = ((folded, _LOOK_S), (semitones[:, :n_bass], _LOOK_S), (folded, _LONG_LOOK_S))
    changes = np.stack([_change(levels, look_s / step_s) for levels, look_s in looks], axis=1)
    slow = ndimage.uniform_filter1d(changes, round(_SLOW_S / step_s), axis=0, mode="nearest")
    evened = changes / np.maximum(slow, 0.2 * slow.max(axis=0) + 1e-12)
    at = np.arange(n_hops) / _STEP_HOPS
    return np.stack([np.interp(at, np.arange(len(evened)), c) for c in evened.T], axis=1)


def _change(levels: npt.NDArray[np.float64], look_steps: float) -> npt.NDArray[np.float64]:
    """Distance of the mean after from the mean before, at every step."""
    unit = levels / np.maximum(np.linalg.norm(levels, axis=1, keepdims=True), 1e-9)
    look = max(round(look_steps), 1)
    total = np.concatenate([np.zeros((1, unit.shape[1])), np.cumsum(unit, axis=0)])
    steps = np.arange(len(unit))
    after = total[np.minimum(steps + look, len(unit))] - total[steps]
    before = total[steps] - total[np.maximum(steps - look, 0)]
    after /= np.maximum(np.linalg.norm(after, axis=1, keepdims=True), 1e-9)
    before /= np.maximum(np.linalg.norm(before, axis=1, keepdims=True), 1e-9)
    change: npt.NDArray[np.float64] = np.linalg.norm(after - before, axis=1)
    change[:1] = 0.0
    return change


def _semitone_levels(mono: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Compressed levels, shape (n_steps, n_semitones), step k centred on frame k * step."""
    step_frames = _STEP_HOPS * HOP_FRAMES
    half = _WINDOW_FRAMES // 2
    padded = np.pad(mono, (half, half + step_frames))
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::step_frames]
    shape = np.hanning(_WINDOW_FRAMES + 1)[:-1].astype(np.float32)
    spectrum = np.abs(fft.rfft(windows * shape, axis=1)).astype(np.float64)
    levels = spectrum @ _semitone_filters()
    loud = np.quantile(levels.max(axis=1), 0.9)
    compressed: npt.NDArray[np.float64] = np.log1p(levels * (30.0 / max(float(loud), 1e-12)))
    return compressed


@lru_cache(maxsize=1)
def _semitone_filters() -> npt.NDArray[np.float64]:
    """Triangles one semitone to each side, shape (n_bins, n_semitones)."""
    bins_hz = np.maximum(fft.rfftfreq(_WINDOW_FRAMES, 1 / RATE_HZ), 1.0)
    bins_midi = 69 + 12 * np.log2(bins_hz / 440)
    centres = np.arange(_LOWEST_MIDI, _TOP_MIDI)
    weights = np.clip(1 - np.abs(bins_midi[:, np.newaxis] - centres), 0.0, None)
    return np.asarray(weights, dtype=np.float64)
