"""What each side of a candidate sounds like: level, low end and the partials heard.

Sides are compared with each other, so all are read on the same hops.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.envelope import mono_of

if TYPE_CHECKING:
    from segue.audio.clip import Clip

Floats = npt.NDArray[np.float64]

TARGET_RATE_HZ: Final = 12_000
"""About the rate at which sides are read: overtones that beat lie below 5 kHz."""
N_PARTIALS: Final = 20
"""Partials kept of each hop; 20 to 40 are usual for roughness of recordings."""
LOW_END_HZ: Final = 150.0
SILENCE_DB: Final = -120.0

_WINDOW_S: Final = 0.34
_HOP_S: Final = 0.17
_LOWEST_PARTIAL_HZ: Final = 55.0
_PARTIAL_FLOOR_DB: Final = 45.0
"""Partials this far below the strongest of their hop are left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideSpectra:
    """Spectra of one side, hop by hop.

    Parameters
    ----------
    times_s : ndarray, shape (n_hops,)
        Middle of each hop.
    level_db, low_db : ndarray, shape (n_hops,)
        Power of the whole sound and of the sound below `LOW_END_HZ`.
    partial_hz, partial_amplitude : ndarray, shape (n_hops, N_PARTIALS)
        The strongest partials; amplitude 0 where there are fewer.
    """

    times_s: Floats
    level_db: Floats
    low_db: Floats
    partial_hz: Floats
    partial_amplitude: Floats


def side_spectra(clip: Clip) -> SideSpectra:
    """The spectra of a side of the music."""
    from scipy import fft

    sound, rate_hz = reduced(clip)
    n_window = 2 * fft.next_fast_len(round(_WINDOW_S * rate_hz / 2))
    n_hop = round(_HOP_S * rate_hz)
    padded = np.pad(sound, (n_window // 2, n_window // 2))
    windows = np.lib.stride_tricks.sliding_window_view(padded, n_window)[::n_hop]
    shape = np.hanning(n_window + 1)[:-1].astype(np.float32)
    magnitude = np.abs(fft.rfft(windows * shape, axis=1)) * (2.0 / shape.sum())
    hz = fft.rfftfreq(n_window, 1.0 / rate_hz)
    power = magnitude.astype(np.float64) ** 2
    partial_hz, partial_amplitude = _partials(magnitude, hz)
    return SideSpectra(
        times_s=np.arange(len(windows)) * n_hop / rate_hz,
        level_db=power_to_db(power.sum(axis=1)),
        low_db=power_to_db(power[:, (hz > 0) & (hz <= LOW_END_HZ)].sum(axis=1)),
        partial_hz=partial_hz,
        partial_amplitude=partial_amplitude,
    )


def reduced(clip: Clip) -> tuple[npt.NDArray[np.float32], float]:
    """The clip in mono, every k-th frame after a low-pass, and its new rate."""
    from scipy import signal

    mono = mono_of(clip.samples)
    step = max(1, round(clip.rate_hz / TARGET_RATE_HZ))
    if step == 1:
        return mono, float(clip.rate_hz)
    taps = signal.firwin(16 * step + 1, 0.85 / step).astype(np.float32)
    thinned = signal.upfirdn(taps, mono, up=1, down=step)
    delay = 8  # half the filter, in frames of the new rate
    n_frames = -(-len(mono) // step)
    kept: npt.NDArray[np.float32] = thinned[delay : delay + n_frames].astype(np.float32)
    return kept, clip.rate_hz / step


def power_to_db(power: npt.ArrayLike) -> Floats:
    """Level of a power, not below `SILENCE_DB`."""
    floor = 10.0 ** (SILENCE_DB / 10.0)
    return np.asarray(10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), floor)))


def _partials(magnitude: npt.NDArray[np.float32], hz: Floats) -> tuple[Floats, Floats]:
    """Strongest local maxima, placed between bins by a parabola through the log spectrum."""
    middle = magnitude[:, 1:-1]
    is_peak = (middle > magnitude[:, :-2]) & (middle >= magnitude[:, 2:])
    is_peak &= hz[1:-1] >= _LOWEST_PARTIAL_HZ
    loudest = magnitude.max(axis=1, keepdims=True)
    is_peak &= middle > np.maximum(loudest * 10.0 ** (-_PARTIAL_FLOOR_DB / 20.0), 1e-6)
    strength = np.where(is_peak, middle, 0.0)
    chosen = np.argpartition(strength, -N_PARTIALS, axis=1)[:, -N_PARTIALS:]
    amplitude = np.take_along_axis(strength, chosen, axis=1).astype(np.float64)
    log = np.log(np.maximum(magnitude, 1e-12)).astype(np.float64)
    left, here, right = (np.take_along_axis(log, chosen + k, axis=1) for k in range(3))
    bend = left - 2.0 * here + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1.0), 0.0)
    return (chosen + 1 + np.clip(shift, -0.5, 0.5)) * (hz[1] - hz[0]), amplitude
