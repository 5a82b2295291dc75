"""True peak: how high the sound goes between its frames.

The clip is oversampled with a windowed-sinc interpolator, as ITU-R BS.1770
asks, but only where that could matter. The interpolated value is at most the
largest frame in reach times the sum of the filter's magnitudes, so a stretch
whose bound is below the peak already found is passed over without loss. What
is left is looked at fourfold first. Beside its highest point a sound below f
cycles a frame falls no faster than a cosine of that frequency, so one of the
fourfold points there reaches at least cos(pi f / 4) of it; stretches whose points
stay below that share of the peak already found are passed over, again without loss.

References
----------
.. [BS1770] ITU-R BS.1770-4, 2015, annex 2: at least 192 kHz, that is fourfold
   at 48 kHz.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip

Real = TypeVar("Real", np.float32, np.float64)

OVERSAMPLING: Final = 4
"""Under-reads by up to 0.55 dB at 0.45 of the rate, 20 log10 cos(pi f / (n rate)); 8 by 0.14."""
_HALF_TAPS: Final = 24  # of the interpolating filter, on each side
_KAISER_BETA: Final = 6.0
"""Flat within 0.01 dB up to 0.45 of the rate."""
_BLOCK_FRAMES: Final = 48  # frames of one product of matrices
_BLOCKS_AT_ONCE: Final = 2048  # to hold little memory; changes no value
_FOURFOLD_REACHES: Final = 0.87
"""cos(pi f / 4) at f = 0.65: the interpolator lets nothing through above that."""
_ROUNDING: Final = 1 + 1e-6
"""Bounds, and the fourfold points at first, are worked out in float32."""


def true_peak_dbtp(clip: Clip, *, oversampling: int = OVERSAMPLING) -> float:
    """Highest level that the sound reaches, between frames too.

    Parameters
    ----------
    clip : Clip
        Silence is taken before and after it.
    oversampling : int, optional
        Points looked at per frame. Take 8 or 16 near a ceiling, or for sound
        above 0.4 of the rate.

    Returns
    -------
    float
        dB true peak over all channels; minus infinity for silence.

    Raises
    ------
    ValueError
        If `oversampling` is below 1.
    """
    if oversampling < 1:
        raise ValueError(f"oversampling must be at least 1, got {oversampling}")
    phases = _phases(oversampling)
    peak = 0.0
    for channel in clip.samples.T:
        peak = _channel_peak(channel, phases, at_least=peak)
    return 20 * math.log10(peak) if peak > 0 else -math.inf


def _phases(oversampling: int) -> Floats:
    """Interpolators for each point strictly between two frames, (2 * half taps, points)."""
    offsets = np.arange(1, oversampling) / oversampling
    reach = np.arange(-_HALF_TAPS + 1, _HALF_TAPS + 1)[:, None] - offsets[None, :]
    window = np.i0(_KAISER_BETA * np.sqrt(1 - np.square(reach / _HALF_TAPS))) / np.i0(_KAISER_BETA)
    taps = np.sinc(reach) * window
    unity: Floats = taps / taps.sum(axis=0)
    return unity


def _channel_peak(channel: Floats32, phases: Floats, *, at_least: float) -> float:
    peak = max(at_least, float(np.abs(channel).max(initial=0.0)))
    if not phases.size or peak == 0:
        return peak
    blocks = _overlapping_blocks(channel, len(phases))
    highest = _highest(blocks[:, :_BLOCK_FRAMES])
    highest = np.maximum(highest, np.append(highest[1:], highest[-1:]))  # a run reaches so far
    most = np.abs(phases).sum(axis=0).max() * _ROUNDING
    n_points = phases.shape[1] + 1
    is_fine = n_points > OVERSAMPLING and n_points % OVERSAMPLING == 0
    every = n_points // OVERSAMPLING if is_fine else 1
    reaches = _FOURFOLD_REACHES if is_fine else 1 / _ROUNDING
    coarse = _block_interpolator(phases[:, every - 1 :: every]).astype(np.float32)
    fine = _block_interpolator(phases)
    for start in range(0, len(blocks), _BLOCKS_AT_ONCE):
        part = slice(start, start + _BLOCKS_AT_ONCE)
        may_count = highest[part] * most > peak
        if not may_count.any():
            continue
        some = blocks[part][may_count]
        reached = np.maximum(_highest(some @ coarse), highest[part][may_count])
        some = some[reached > max(peak, float(reached.max())) * reaches]
        if len(some):
            peak = max(peak, float(_highest(some.astype(np.float64) @ fine).max()))
    return peak


def _highest(rows: npt.NDArray[Real]) -> npt.NDArray[Real]:
    """Size of the largest value of every row."""
    highest: npt.NDArray[Real] = np.maximum(rows.max(axis=1), -rows.min(axis=1))
    return highest


def _overlapping_blocks(channel: Floats32, n_taps: int) -> Floats32:
    """Rows that hold every run of `n_taps` frames once, from the first that touches the sound."""
    n_blocks = -(-(len(channel) + n_taps - 1) // _BLOCK_FRAMES)
    padded = np.zeros(n_blocks * _BLOCK_FRAMES + n_taps - 1, dtype=np.float32)
    padded[n_taps - 1 : n_taps - 1 + len(channel)] = channel
    runs = np.lib.stride_tricks.sliding_window_view(padded, _BLOCK_FRAMES + n_taps - 1)
    return runs[::_BLOCK_FRAMES]


def _block_interpolator(phases: Floats) -> Floats:
    """The interpolators at every place of a block, as one matrix: a product is fastest so."""
    n_taps, n_points = phases.shape
    matrix = np.zeros((_BLOCK_FRAMES + n_taps - 1, _BLOCK_FRAMES, n_points))
    for place in range(_BLOCK_FRAMES):
        matrix[place : place + n_taps, place] = phases
    return matrix.reshape(len(matrix), -1)
