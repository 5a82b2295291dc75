"""Filters whose cutoff moves every frame without a sound of its own.

Two second-order sections in cascade make a 24 dB an octave Butterworth filter
(section qualities 1 / (2 cos(pi/8)) and 1 / (2 cos(3 pi/8))). Each section is a
state-variable filter with trapezoidal integrators [Zav]_, whose state stays
meaningful while the cutoff moves.

References
----------
.. [Zav] V. Zavalishin, "The Art of VA Filter Design", 2012-2018, chapter 4
   (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numba
import numpy as np

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32

DAMPINGS: Final = (2 * np.cos(np.pi / 8), 2 * np.cos(3 * np.pi / 8))
"""1 / quality of the two sections of a fourth-order Butterworth filter."""
LOWEST_RATIO: Final = 1e-4  # cutoff over rate; a lower one is taken as this
OPEN_LOWPASS_HZ: Final = 18_000.0  # from here up a low-pass is out of the way; by judgement
OPEN_HIGHPASS_HZ: Final = 20.0
"""From here on outwards a filter is open: sound passes bit for bit."""
_WARM_UP_S: Final = 0.5
"""A filter is run this long before it acts: its memory at 20 Hz is shorter."""
_OPENING_RATIO: Final = 1.2
"""A filter opens over this ratio of frequency."""
_BLOCK_FRAMES: Final = 1_024  # frames whose gains are worked out at once; changes no sample
_STRAIGHT_FRAMES: Final = 8  # a gain is exact every so many frames, and a straight line between
HIGHEST_RATIO: Final = 0.49
"""Cutoffs are held below this share of the rate."""


def lowpassed(samples: Floats32, cutoff_hz: Floats, rate_hz: int) -> Floats32:
    """Audio after a moving 24 dB an octave low-pass.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    cutoff_hz : ndarray, shape (n_frames,)

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
        Unchanged, bit for bit, wherever the cutoff is at least 18 kHz.
    """
    return _filtered(samples, cutoff_hz, rate_hz, high=False)


def highpassed(samples: Floats32, cutoff_hz: Floats, rate_hz: int) -> Floats32:
    """Audio after a moving 24 dB an octave high-pass, open at 20 Hz; as `lowpassed` otherwise."""
    return _filtered(samples, cutoff_hz, rate_hz, high=True)


def _filtered(samples: Floats32, cutoff_hz: Floats, rate_hz: int, *, high: bool) -> Floats32:
    is_open = cutoff_hz <= OPEN_HIGHPASS_HZ if high else cutoff_hz >= OPEN_LOWPASS_HZ
    if is_open.all():
        return samples
    first = max(int(np.argmin(is_open)) - round(_WARM_UP_S * rate_hz), 0)
    used = slice(first, len(is_open) - int(np.argmin(is_open[::-1])))
    out = samples.copy()
    open_hz = OPEN_HIGHPASS_HZ if high else OPEN_LOWPASS_HZ
    _cascade(out[used], cutoff_hz[used], rate_hz, open_hz, DAMPINGS, high)
    return out


@numba.njit(cache=True, nogil=True, fastmath=False)
def _cascade(sound, cutoff_hz, rate_hz, open_hz, dampings, high):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Filter in place, block by block: first what depends on the cutoff, then each channel."""
    n_frames, n_channels = sound.shape
    states = np.zeros((n_channels, 4))
    gains, dry = np.empty(_BLOCK_FRAMES), np.empty(_BLOCK_FRAMES)
    shares = np.empty((_BLOCK_FRAMES, 2))
    for begin in range(0, n_frames, _BLOCK_FRAMES):
        end = min(begin + _BLOCK_FRAMES, n_frames)
        _coefficients(cutoff_hz[begin:end] / rate_hz, dampings, gains, shares)
        _dry_shares(cutoff_hz[begin:end], open_hz, high, dry)
        for channel in range(0, n_channels, 2):
            other = min(channel + 1, n_channels - 1)
            block = sound[begin:end]
            _sections(block, (channel, other), (gains, shares, dry), dampings, states, high)


@numba.njit(cache=True, nogil=True, fastmath=False)
def _coefficients(ratios, dampings, gains, shares):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Integrator gains (the bilinear transform maps cutoffs to them) and the two divisors.

    Gains are drawn by straight lines: over so few frames they are less than 1e-6 off.
    """
    last = len(ratios) - 1
    before = ratios[0]
    gain = _gain(before)
    share_a = share_b = 0.0
    for frame in range(0, last + 1, _STRAIGHT_FRAMES):
        until = min(frame + _STRAIGHT_FRAMES, last)
        after = ratios[until]
        target = gain if after == before else _gain(after)
        step = (target - gain) / max(until - frame, 1)
        for n in range(frame, min(frame + _STRAIGHT_FRAMES, last + 1)):
            g = gain + step * (n - frame)
            gains[n] = g
            if step != 0.0 or n == 0:
                share_a = 1.0 / (1.0 + g * (g + dampings[0]))
                share_b = 1.0 / (1.0 + g * (g + dampings[1]))
            shares[n, 0], shares[n, 1] = share_a, share_b
        before, gain = after, target


@numba.njit(cache=True, nogil=True, fastmath=False)
def _gain(ratio):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    return np.tan(np.pi * min(max(ratio, LOWEST_RATIO), HIGHEST_RATIO))


@numba.njit(cache=True, nogil=True, fastmath=False)
def _dry_shares(cutoff_hz, open_hz, high, dry):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """How far open the filter is, frame by frame: 0 or, near its end stop, up to 1."""
    for frame in range(len(cutoff_hz)):
        beyond = open_hz / cutoff_hz[frame] if high else cutoff_hz[frame] / open_hz
        if beyond * _OPENING_RATIO <= 1.0:
            dry[frame] = 0.0
        else:
            share = min(np.log(beyond * _OPENING_RATIO) / np.log(_OPENING_RATIO), 1.0)
            dry[frame] = share * share * (3 - 2 * share)


@numba.njit(cache=True, nogil=True, fastmath=False)
def _sections(sound, pair, along, dampings, states, high):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Both sections over a block, in place; two channels at once keep the processor busy."""
    (gains, shares, dry), (damping_a, damping_b) = along, dampings
    i, j = pair
    a1, a2, b1, b2 = states[i]
    c1, c2, d1, d2 = states[j]
    for frame in range(len(sound)):
        g, da, db = gains[frame], shares[frame, 0], shares[frame, 1]
        left, right = float(sound[frame, i]), float(sound[frame, j])
        band, side = (a1 + g * (left - a2)) * da, (c1 + g * (right - c2)) * da
        low, deep = a2 + g * band, c2 + g * side
        a1, a2, c1, c2 = 2 * band - a1, 2 * low - a2, 2 * side - c1, 2 * deep - c2
        x = left - damping_a * band - low if high else low
        y = right - damping_a * side - deep if high else deep
        band, side = (b1 + g * (x - b2)) * db, (d1 + g * (y - d2)) * db
        low, deep = b2 + g * band, d2 + g * side
        b1, b2, d1, d2 = 2 * band - b1, 2 * low - b2, 2 * side - d1, 2 * deep - d2
        x = x - damping_b * band - low if high else low
        y = y - damping_b * side - deep if high else deep
        share = dry[frame]
        if share < 1.0:
            sound[frame, i] = x + share * (left - x)
            sound[frame, j] = y + share * (right - y)
    states[i, 0], states[i, 1], states[i, 2], states[i, 3] = a1, a2, b1, b2
    states[j, 0], states[j, 1], states[j, 2], states[j, 3] = c1, c2, d1, d2
