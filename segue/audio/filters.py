"""Filters, whole-number changes of rate, peaks of a curve, and mean spectra.

All of it is in `scipy.signal`, and done here as there, without that package: statistics,
optimisation, splines and the parsing of their own documentation come with it, which takes half a
second of every process that hears or renders anything, and 40 MB. The tests hold each function
against its own.

References
----------
.. [OS10] A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal Processing", 3rd edition, 2010:
   section 7.3.2 the bilinear transform of Butterworth's filters, 4.7 polyphase filters, 7.5.3 the
   Kaiser window.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Sound = npt.NDArray[np.floating[Any]]

_HALF_TAPS: Final = 10  # of a change of rate, in frames of the lower one on each side
_KAISER: Final = 5.0  # shape of their window: the stop band is some 50 dB down [OS10]_
_BLOCK_FRAMES: Final = 4096  # frames at once, to stay in the processor's cache; changes no value


def low_pass(order: int, cutoff_hz: float, rate_hz: float) -> Floats:
    """Sections of Butterworth's low-pass, 3 dB down at its cutoff [OS10]_.

    Returns
    -------
    ndarray, shape (ceil(order / 2), 6)
        Numerator and denominator of each, the latter beginning with 1; see `filtered`.

    Examples
    --------
    >>> low_pass(1, 12_000.0, 48_000).round(9).tolist()
    [[0.5, 0.5, 0.0, 1.0, 0.0, 0.0]]
    """
    poles = math.tan(math.pi * cutoff_hz / rate_hz) * _prototype(order)
    return _sections(poles, (1.0, 1.0), 1.0)


def high_pass(order: int, cutoff_hz: float, rate_hz: float) -> Floats:
    """Sections of Butterworth's high-pass, 3 dB down at its cutoff [OS10]_."""
    poles = math.tan(math.pi * cutoff_hz / rate_hz) / _prototype(order)
    return _sections(poles, (1.0, -1.0), -1.0)


def band_pass(order: int, ends_hz: tuple[float, float], rate_hz: float) -> Floats:
    """Sections of Butterworth's band-pass, 3 dB down at both ends [OS10]_.

    Parameters
    ----------
    order : int
        Of its slopes: an even number, and there are as many sections.
    """
    low, high = (math.tan(math.pi * hz / rate_hz) for hz in ends_hz)
    half = _prototype(order) * (high - low) / 2
    apart = np.sqrt(half * half - low * high)
    middle = complex(1.0, math.sqrt(low * high))
    poles = np.concatenate([half + apart, half - apart])
    return _sections(poles, (1.0, 0.0, -1.0), middle / middle.conjugate())


def peak_at(middle_hz: float, q: float, rate_hz: float) -> Floats:
    """A section that lets pass what is near a frequency, at its own level there.

    Parameters
    ----------
    q : float
        The frequency over the width at half the power.
    """
    turn = 2.0 * math.pi * middle_hz / rate_hz
    share = 1.0 / (1.0 + math.tan(turn / q / 2.0))
    poles = (1.0, -2.0 * share * math.cos(turn), 2.0 * share - 1.0)
    return np.array([[1.0 - share, 0.0, share - 1.0, *poles]])


def _prototype(order: int) -> npt.NDArray[np.complex128]:
    """Poles of the analogue low-pass whose cutoff is 1."""
    turns = 1.0 + (2.0 * np.arange(order) + 1.0) / order
    return np.asarray(np.exp(0.5j * np.pi * turns))


def _sections(
    poles: npt.NDArray[np.complex128], zeros: tuple[float, ...], unchanged: complex
) -> Floats:
    """Analogue poles by the bilinear transform, those that ring longest last.

    Parameters
    ----------
    zeros : tuple of float
        Numerator of a section; of one factor, where a section of two poles has it twice.
    unchanged : complex
        Where on the unit circle the gain is 1.
    """
    found = (1.0 + poles) / (1.0 - poles)
    upper = found[found.imag > _TINY]
    pairs = [np.array([1.0, -2.0 * p.real, abs(p) ** 2]) for p in upper[np.argsort(abs(upper))]]
    singles = [np.array([1.0, -p.real, 0.0]) for p in found[abs(found.imag) <= _TINY]]
    rows = []
    for below in (*singles, *pairs):
        above = np.array(zeros)
        if len(zeros) < 3:  # noqa: PLR2004 - one factor
            above = np.append(zeros, 0.0) if below[2] == 0.0 else np.convolve(zeros, zeros)
        gain = abs(np.polyval(below, unchanged) / np.polyval(above, unchanged))
        rows.append([*(above * gain), *below])
    return np.array(rows)


_TINY: Final = 1e-12  # a pole no further from the real axis is on it


def filtered(sections: Floats, sound: Sound, state: Floats | None = None) -> Floats:
    """Sound through filters of second order, one after another.

    Parameters
    ----------
    sections : ndarray, shape (n_sections, 6)
        Numerator and denominator of each, the latter beginning with 1.
    sound : ndarray, shape (n_frames,) or (n_frames, n_channels)
    state : ndarray, shape (n_sections, 2) or (n_channels, n_sections, 2), optional
        What each section remembers: read, and written for the sound that follows. None is rest.

    Returns
    -------
    ndarray, of the shape of the sound, float64
    """
    if sound.ndim == 1:
        out = np.array(sound, dtype=np.float64)
        rest = np.zeros((len(sections), 2)) if state is None else state
        _compiled(_run)(np.ascontiguousarray(sections, dtype=np.float64), out, rest)
        return out
    states: Sequence[Floats | None] = [None] * sound.shape[1] if state is None else list(state)
    both = np.empty(sound.shape)
    for n, one in enumerate(states):
        both[:, n] = filtered(sections, sound[:, n], one)
    return both


def filtered_both_ways(sections: Floats, sound: Sound) -> Floats:
    """Sound through filters forwards and then backwards: twice as steep, and without delay.

    Around its ends it goes on turned about its first and last frame, and each filter starts as if
    that had gone on for ever.

    Parameters
    ----------
    sections : ndarray, shape (n_sections, 6)
    sound : ndarray, shape (n_frames,) or (n_frames, n_channels)
        Longer than `beyond_frames`.
    """
    n = beyond_frames(sections)
    if len(sound) <= n:
        raise ValueError(f"{len(sound)} frames are too few to be filtered both ways")
    before, after = 2.0 * sound[0] - sound[n:0:-1], 2.0 * sound[-1] - sound[-2 : -n - 2 : -1]
    longer = np.concatenate([before, sound, after]).astype(np.float64)
    for _ in "there", "back":
        first = longer[0] if longer.ndim > 1 else longer[:1]
        states = first[:, None, None] * _steady(sections)
        longer = filtered(sections, longer, states if longer.ndim > 1 else states[0])[::-1]
    return longer[n:-n]


def beyond_frames(sections: Floats) -> int:
    """How many frames `filtered_both_ways` makes up beyond either end."""
    shorter = min(int((sections[:, 2] == 0.0).sum()), int((sections[:, 5] == 0.0).sum()))
    return 3 * (2 * len(sections) + 1 - shorter)


def _steady(sections: Floats) -> Floats:
    """What each section remembers after a sound of 1 that lasted for ever."""
    states, level = [], 1.0
    for b0, b1, b2, _, a1, a2 in sections:
        gain = (b0 + b1 + b2) / (1.0 + a1 + a2)
        second = b2 - a2 * gain
        states.append([level * (b1 - a1 * gain + second), level * second])
        level *= gain
    return np.array(states)


@cache
def _compiled(function: Any) -> Any:  # noqa: ANN401 - and what numba makes of it
    from numba import njit  # heavy, and many only need to know a limit

    return njit(cache=True, fastmath=False)(function)


def _run(sections, sound, state):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """In place, in the transposed direct form II."""
    for number in range(len(sections)):
        b0, b1, b2 = sections[number, 0], sections[number, 1], sections[number, 2]
        a1, a2 = sections[number, 4], sections[number, 5]
        first, second = state[number, 0], state[number, 1]
        for frame in range(len(sound)):
            x = sound[frame]
            y = b0 * x + first
            first = b1 * x - a1 * y + second
            second = b2 * x - a2 * y
            sound[frame] = y
        state[number, 0], state[number, 1] = first, second


def every_nth(sound: Sound, n: int) -> Floats:
    """Sound at an n-th of its rate, what lies above half of that left out; no delay.

    Parameters
    ----------
    sound : ndarray, shape (n_frames,) or (n_frames, n_channels)
        Silence is taken before and after it.

    Returns
    -------
    ndarray, shape (ceil(n_frames / n), ...), float64
    """
    return thinned(sound, n, _rate_taps(n))


def thinned(sound: Sound, n: int, taps: Floats) -> Floats:
    """Every n-th frame of a sound under a filter that is centred on each.

    Parameters
    ----------
    sound : ndarray, shape (n_frames,) or (n_frames, n_channels)
    taps : ndarray, shape (2 * n * any number + 1,)
        The same in both directions.

    Returns
    -------
    ndarray, shape (ceil(n_frames / n), ...), float64
    """
    if sound.ndim > 1:
        return np.stack([thinned(one, n, taps) for one in sound.T], axis=1)
    out = np.zeros(-(-len(sound) // n))
    half = len(taps) // 2
    rows = np.zeros((len(out) + 2 * half // n, n))
    rows.reshape(-1)[half : half + len(sound)] = sound
    by_phase = np.zeros((2 * half // n + 1, n))
    by_phase.reshape(-1)[: len(taps)] = taps
    _compiled(_add_weighted)(np.ascontiguousarray(rows.T), by_phase, out, _BLOCK_FRAMES)
    return out


def at_n_times(sound: Sound, n: int) -> Floats:
    """Sound at n times its rate, with nothing above half of its own; no delay.

    Parameters
    ----------
    sound : ndarray, shape (n_frames,) or (n_frames, n_channels)

    Returns
    -------
    ndarray, shape (n * n_frames, ...), float64
    """
    if sound.ndim > 1:
        return np.stack([at_n_times(one, n) for one in sound.T], axis=1)
    padded = np.pad(np.asarray(sound, dtype=np.float64), _HALF_TAPS)[None]
    by_phase = np.zeros((2 * _HALF_TAPS + 1, n))
    by_phase.reshape(-1)[: 2 * _HALF_TAPS * n + 1] = n * _rate_taps(n)
    phases = np.zeros((n, len(sound)))
    for phase, out in zip(by_phase[::-1].T, phases, strict=True):
        taps = np.ascontiguousarray(phase[:, None])
        _compiled(_add_weighted)(padded, taps, out, _BLOCK_FRAMES)
    return np.ascontiguousarray(phases.T).reshape(-1)


def _add_weighted(rows, taps, out, block):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Each frame of `out` is the sum of the taps over as many frames of every row."""
    for begin in range(0, len(out), block):
        end = min(begin + block, len(out))
        for row in range(rows.shape[0]):
            for tap in range(taps.shape[0]):
                weight = taps[tap, row]
                for frame in range(begin, end):
                    out[frame] += weight * rows[row, frame + tap]


@cache
def _rate_taps(n: int) -> Floats:
    """Low-pass at half the lower of two rates, of which one is n times the other."""
    half = _HALF_TAPS * n
    taps = np.sinc(np.arange(-half, half + 1) / n) * np.kaiser(2 * half + 1, _KAISER)
    return np.asarray(taps / taps.sum())


def windowed_low_pass(n_taps: int, cutoff: float) -> Floats:
    """Taps of a low-pass under a Hamming window.

    Parameters
    ----------
    cutoff : float
        As a share of half the rate: there it is 6 dB down.
    """
    places = np.arange(n_taps) - (n_taps - 1) / 2
    taps = np.sinc(cutoff * places) * np.hamming(n_taps)
    return np.asarray(taps / taps.sum())


def convolved(sound: Sound, answer: Sound) -> Floats:
    """Each channel of a sound as a room answers it that answers one frame so.

    Parameters
    ----------
    sound, answer : ndarray, shape (n_frames, n_channels)
        Of as many channels.

    Returns
    -------
    ndarray, shape (n_frames + n_answer_frames - 1, n_channels), float64
    """
    from scipy.fft import irfft, next_fast_len, rfft

    n_frames = len(sound) + len(answer) - 1
    size = next_fast_len(n_frames, real=True)
    channels = []
    for one, other in zip(sound.T, answer.T, strict=True):
        both = rfft(one.astype(np.float64), size) * rfft(other.astype(np.float64), size)
        channels.append(irfft(both, size)[:n_frames])
    return np.stack(channels, axis=1)


def peaks(values: Sound, least: float | Floats, apart: int) -> npt.NDArray[np.int64]:
    """Where a curve has its peaks: the middles of what both neighbours are lower than.

    Parameters
    ----------
    values : ndarray, shape (n,)
    least : float or ndarray, shape (n,)
        Lower ones do not count.
    apart : int
        Of two that are nearer to each other than this, the higher one counts.
    """
    change = np.flatnonzero(np.diff(values))  # the last places of stretches of one value
    if len(change) < 2:  # noqa: PLR2004 - up, and down
        return np.zeros(0, dtype=np.int64)
    rises = values[change + 1] > values[change]
    is_top = rises[:-1] & ~rises[1:]
    found = (change[:-1][is_top] + 1 + change[1:][is_top]) // 2
    lowest = least[found] if isinstance(least, np.ndarray) else least
    found = found[values[found] >= lowest]
    is_kept = np.ones(len(found), dtype=bool)
    for highest in np.argsort(values[found])[::-1]:
        if is_kept[highest]:
            near = slice(*np.searchsorted(found, found[highest] + np.array([1 - apart, apart])))
            is_kept[near] = False
            is_kept[highest] = True
    return np.asarray(found[is_kept], dtype=np.int64)


def mean_power(mono: Sound, n_window: int) -> Sound:
    """Power of a sound by frequency: the mean over Hann windows that overlap by half.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        At least a window.

    Returns
    -------
    ndarray, shape (n_window // 2 + 1,)
        Squares of magnitudes, each window less its mean, in the precision of the sound.
    """
    from scipy.fft import rfft

    shape = np.hanning(n_window + 1)[:-1].astype(mono.dtype)
    windows = np.lib.stride_tricks.sliding_window_view(mono, n_window)[:: n_window // 2]
    spectra = rfft((windows - windows.mean(axis=1, keepdims=True)) * shape, overwrite_x=True)
    return np.asarray((np.square(spectra.real) + np.square(spectra.imag)).mean(axis=0))
