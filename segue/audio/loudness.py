"""Loudness as ITU-R BS.1770 and EBU R 128 measure it.

The K-weighting filters are derived for the clip's own rate from the analogue
prototypes behind the published 48 kHz coefficients, so the 997 Hz calibration
tone reads right at every rate. All channels of a clip weigh 1, as left and
right do. Songs are read as stereo, so a file of one channel is measured as it
plays, from both speakers: 3.01 LU above what the standard gives for one channel.
`LevelFact` has both numbers.

Filters run here as `scipy.signal.sosfilt` runs them, without its package: that takes three
quarters of a second of a draft's two to load (statistics, optimisation and splines come with
it), and a draft needs this of it alone.

References
----------
.. [BS1770] ITU-R BS.1770-4, "Algorithms to measure audio programme loudness
   and true-peak audio level", 2015, annex 1.
.. [Tech3341] EBU Tech 3341, "Loudness metering: 'EBU Mode' metering", v4.0, 2023.
.. [Tech3342] EBU Tech 3342, "Loudness range", v4.0, 2023.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats
    from segue.audio.clip import Clip


MOMENTARY_S: Final = 0.4
"""Window of momentary loudness, and gating block of integrated loudness [Tech3341]_."""
SHORT_TERM_S: Final = 3.0
"""Window of short-term loudness [Tech3341]_."""
BLOCK_STEP_S: Final = 0.1
"""Gating blocks overlap by three quarters [BS1770]_."""
ABSOLUTE_GATE_LUFS: Final = -70.0  # blocks below do not count [BS1770]_
RELATIVE_GATE_LU: Final = -10.0
"""Gates of integrated loudness [BS1770]_."""
RANGE_GATE_LU: Final = -20.0  # below the mean of what the absolute gate leaves [Tech3342]_
RANGE_PERCENTILES: Final = (10.0, 95.0)
"""Relative gate and ends of the loudness range [Tech3342]_."""
OFFSET_LUFS: Final = -0.691
"""Makes a 997 Hz sine at 0 dBFS in one channel read -3.01 LUFS [BS1770]_."""

_FRAMES_AT_ONCE: Final = 1 << 17  # to hold little memory; changes no value
# The shelf of the head, first of the two filters
_SHELF: Final = (1681.974450955533, 3.999843853973347, 0.7071752369554196, 0.4996667741545416)
_HIGH_PASS: Final = (38.13547087602444, 0.5003270373238773)
"""Prototypes (Hz, dB, Q, exponent) that give the 48 kHz coefficients of [BS1770]_ to 1e-14."""


def integrated_lufs(clip: Clip) -> float:
    """Gated loudness of a whole clip.

    Parameters
    ----------
    clip : Clip
        Any length; below 0.4 s it counts as one block of its own length.

    Returns
    -------
    float
        LUFS; minus infinity where no block is louder than -70 LUFS.
    """
    blocks = _window_powers(clip, MOMENTARY_S, BLOCK_STEP_S)
    loud = blocks[_lufs(blocks) > ABSOLUTE_GATE_LUFS]
    if not loud.size:
        return -math.inf
    gate_lufs = float(_lufs(loud.mean())) + RELATIVE_GATE_LU
    return float(_lufs(loud[_lufs(loud) > gate_lufs].mean()))


def momentary_lufs(clip: Clip, *, hop_s: float = 0.01) -> tuple[Floats, Floats]:
    """Loudness over time in windows of 0.4 s.

    Parameters
    ----------
    hop_s : float, optional
        Step between windows. The default finds the peak of a 0.4 s burst
        anywhere, which a step of 0.1 s misses by up to 0.5 LU.

    Returns
    -------
    times_s : ndarray, shape (n_hops,)
        Centres of the windows, in seconds from the start of the clip.
    lufs : ndarray, shape (n_hops,)
        Minus infinity for silence. A clip shorter than a window is one hop.
    """
    return _trace(clip, MOMENTARY_S, hop_s)


MEAN_POWER: Final = 0.6
"""Loudness that comes and goes is averaged as its power to this: a mean of powers hears
the hits alone, one of decibels the rests. Set by judgement."""
MOST_BELOW_LU: Final = 5.0
"""A stretch of a song whose mean lies further than this below its loud moments is dying away, or
has long rests. Set by judgement."""
_LOUD_PERCENT: Final = 90.0  # moments up to here are not its loud ones


def mean_lufs(lufs: Floats) -> float:
    """Mean of momentary loudness, between that of powers and that of decibels.

    Parameters
    ----------
    lufs : ndarray, shape (n,)
        At least one moment; minus infinity for silence.

    Examples
    --------
    >>> round(mean_lufs(np.array([-20.0, -20.0])), 6)
    -20.0
    """
    size = float(np.mean(10 ** (MEAN_POWER * np.asarray(lufs) / 10)))
    return 10 / MEAN_POWER * math.log10(size) if size > 0 else -math.inf


def lufs_of_a_song(lufs: Floats) -> float:
    """How loud a song is at one of its ends; of one that rings out, what it was just before.

    Parameters
    ----------
    lufs : ndarray, shape (n,)
        Momentary loudness of its last or first seconds.
    """
    loud = float(np.percentile(np.maximum(lufs, -200.0), _LOUD_PERCENT))
    return max(mean_lufs(lufs), loud - MOST_BELOW_LU)


def short_term_lufs(clip: Clip) -> tuple[Floats, Floats]:
    """Loudness over time in windows of 3 s; otherwise as `momentary_lufs`.

    Returns
    -------
    times_s, lufs : ndarray, shape (n_hops,)
        Centres of the windows from the start of the clip, and loudness there.
    """
    return _trace(clip, SHORT_TERM_S, BLOCK_STEP_S)


def loudness_range_lu(clip: Clip) -> float:
    """How far the loudness of a clip spreads, without its quietest and loudest moments.

    Returns
    -------
    float
        LU [Tech3342]_; 0 where nothing is louder than -70 LUFS.
    """
    powers = _window_powers(clip, SHORT_TERM_S, BLOCK_STEP_S)
    loud = powers[_lufs(powers) > ABSOLUTE_GATE_LUFS]
    if not loud.size:
        return 0.0
    gated = _lufs(loud[_lufs(loud) > float(_lufs(loud.mean())) + RANGE_GATE_LU])
    low, high = np.percentile(gated, RANGE_PERCENTILES)
    return float(high - low)


def k_weighting_sos(rate_hz: int) -> Floats:
    """K-weighting as second-order sections.

    Returns
    -------
    ndarray, shape (2, 6)
        The head's shelf, then the high-pass.

    Examples
    --------
    >>> k_weighting_sos(48_000)[0, :3].round(6).tolist()
    [1.535125, -2.691696, 1.198393]
    """
    hz, gain_db, q, exponent = _SHELF
    k = math.tan(math.pi * hz / rate_hz)
    high = 10 ** (gain_db / 20)
    band = high**exponent
    shelf = [high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k]
    poles = [1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k]
    hz, q = _HIGH_PASS
    k = math.tan(math.pi * hz / rate_hz)
    low_poles = [1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k]
    return np.array(
        [
            [*(b / poles[0] for b in shelf), *(a / poles[0] for a in poles)],
            [1.0, -2.0, 1.0, *(a / low_poles[0] for a in low_poles)],
        ]
    )


def _trace(clip: Clip, window_s: float, hop_s: float) -> tuple[Floats, Floats]:
    powers = _window_powers(clip, window_s, hop_s)
    hop_frames = max(1, round(hop_s * clip.rate_hz))
    centre_frames = min(round(window_s * clip.rate_hz), clip.n_frames) / 2
    times_s = (np.arange(len(powers)) * hop_frames + centre_frames) / clip.rate_hz
    return times_s, _lufs(powers)


def _window_powers(clip: Clip, window_s: float, hop_s: float) -> Floats:
    """Mean weighted power of each whole window, summed over channels."""
    from segue.audio.loudness import filtered

    if not clip.n_frames:
        return np.zeros(0)
    window = min(round(window_s * clip.rate_hz), clip.n_frames)
    hop = max(1, round(hop_s * clip.rate_hz))
    # Sums over the longest steps that windows and hops are made of: far fewer than frames.
    step = math.gcd(window, hop)
    n_steps = clip.n_frames // step
    energies = np.zeros(n_steps)
    sections = k_weighting_sos(clip.rate_hz)
    at_once = max(_FRAMES_AT_ONCE // step, 1)
    for channel in clip.samples.T:
        state = np.zeros((len(sections), 2))
        for first in range(0, n_steps, at_once):
            block = channel[first * step : (first + at_once) * step]
            part = block[: (n_steps - first) * step].astype(np.float64)
            steps = filtered(sections, part, state).reshape(-1, step)
            energies[first : first + len(steps)] += np.einsum("ij,ij->i", steps, steps)
    total = np.concatenate([[0.0], np.cumsum(energies)])
    starts = np.arange(0, clip.n_frames - window + 1, hop) // step
    powers: Floats = (total[starts + window // step] - total[starts]) / window
    return powers


def _lufs(power: Floats | np.float64) -> Floats:
    with np.errstate(divide="ignore"):
        return OFFSET_LUFS + 10 * np.log10(np.asarray(power))


def filtered(
    sections: Floats, sound: npt.NDArray[np.floating[Any]], state: Floats | None = None
) -> Floats:
    """Sound through filters of second order, one after another.

    Parameters
    ----------
    sections : ndarray, shape (n_sections, 6)
        Numerator and denominator of each, the latter beginning with 1.
    sound : ndarray, shape (n_frames,)
    state : ndarray, shape (n_sections, 2), optional
        What each section remembers: read, and written for the sound that follows. None is rest.
    """
    out = np.array(sound, dtype=np.float64)
    rest = np.zeros((len(sections), 2)) if state is None else state
    _compiled()(np.ascontiguousarray(sections, dtype=np.float64), out, rest)
    return out


def first_order_lowpass(cutoff_hz: float, rate_hz: int) -> Floats:
    """A low-pass of first order as one section: 3 dB down at its cutoff, by bilinear transform.

    Examples
    --------
    >>> first_order_lowpass(12_000.0, 48_000).round(9).tolist()
    [[0.5, 0.5, 0.0, 1.0, -0.0, 0.0]]
    """
    gain = math.tan(math.pi * cutoff_hz / rate_hz)
    share = gain / (1.0 + gain)
    return np.array([[share, share, 0.0, 1.0, (gain - 1.0) / (gain + 1.0), 0.0]])


@cache
def _compiled() -> Any:  # noqa: ANN401 - what numba makes of `_run`
    from numba import njit  # heavy, and many only need to know a limit

    return njit(cache=True, nogil=True, fastmath=False)(_run)


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
