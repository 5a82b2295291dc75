"""A regular pulse in onset strength, at whatever level of the metre it is clearest.

Periods are the peaks of the autocorrelation, each counted with its multiples. A pulse of a
period is the chain of hops that gathers most onset strength while its steps stay near that
period, found by dynamic programming [El07]_.

How evenly the attacks lie on beats: a pulse keeps them there, free time does not.

The evidence of metre says which way of counting is the best, and some way always is. Whether
there is anything to count is asked here: in music with a pulse nearly every clear attack falls
on a beat or an even part of one, in free time no more of them than chance puts there.

References
----------
.. [El07] D. P. W. Ellis, "Beat tracking by dynamic programming", Journal of New Music
   Research 36(1), 2007, 51-60.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit
from scipy import fft, ndimage, signal

from segue.analysis.onsets import HOP_S

if TYPE_CHECKING:
    from segue.arrays import Floats


_REACH_S: Final = 0.025
"""An attack this near to a place counts as on it: what players and soft attacks are off by."""
# a beat is asked for as a whole, in halves, thirds and quarters; by judgement
_PARTS: Final = (1, 2, 3, 4)
_LEAST_PART_S: Final = 0.1
"""Parts of a beat shorter than this are not asked for: chance would fill them."""
_CLEAR_SHARE: Final = 0.45  # of a loud attack: what is weaker is not asked; by judgement
_CLEAR_QUANTILE: Final = 0.98  # of onset strength: what stands for a loud attack; by judgement
_APART_HOPS: Final = 4  # least distance of two attacks, about 40 ms; by judgement
_FEWEST_ATTACKS: Final = 4  # with fewer attacks or beats all counts as even; by judgement
_FREE, _EVEN = 0.40, 0.55
"""Up to the one an edge is in free time, from the other on its beats are not doubted. Chosen on
45 edges of the ears benchmark's seed 1 and 27 made-up pieces in free time, which have 0.41 at
most. Of 73 such edges, three of soft string quartets whose beats were right fall below."""


def pulse_share(strength: Floats, beats_s: Floats) -> float:
    """How far beats are borne out by attacks: 0 as chance would have it, 1 where all is even.

    Parameters
    ----------
    strength : ndarray, shape (n_hops,)
        Onset strength at hops of `HOP_S`.
    beats_s : ndarray, shape (n_beats,)
        Beats in seconds from the first hop, ascending.

    Returns
    -------
    float
        0..1. Where there are too few attacks or beats to tell, 1: then nothing speaks against.
    """
    return float(np.clip((evenness(strength, beats_s) - _FREE) / (_EVEN - _FREE), 0.0, 1.0))


def evenness(strength: Floats, beats_s: Floats) -> float:
    """Share of attacks on even parts of the beats, above chance and less its error.

    Parameters
    ----------
    strength, beats_s
        As for `pulse_share`.

    Returns
    -------
    float
        1 where all are on them, about 0 for attacks anywhere; of beats, halves, thirds and
        quarters the one that does best.
    """
    times_s, weights = _clear_attacks(peaky(strength), beats_s)
    if len(times_s) < _FEWEST_ATTACKS or len(beats_s) < _FEWEST_ATTACKS:
        return 1.0
    numbers = np.arange(len(beats_s), dtype=np.float64)
    places = np.interp(times_s, beats_s, numbers)
    lengths_s = np.interp(places, numbers[:-1] + 0.5, np.diff(beats_s))
    n_heard = float(weights.sum() ** 2 / np.square(weights).sum())
    best = -1.0
    for parts in _PARTS:
        if parts > 1 and np.median(lengths_s) / parts < _LEAST_PART_S:
            continue
        off_s = np.abs((places * parts + 0.5) % 1.0 - 0.5) / parts * lengths_s
        share = float(weights[off_s < _REACH_S].sum() / weights.sum())
        chance = min(float(np.mean(2 * _REACH_S * parts / lengths_s)), 0.9)
        error = np.sqrt(chance * (1 - chance) / n_heard)
        best = max(best, float((share - chance - error) / (1 - chance)))
    return best


def _clear_attacks(strength: Floats, beats_s: Floats) -> tuple[Floats, Floats]:
    """Times of the clear attacks among the beats, and their strength, the loudest alike."""
    loud = float(np.quantile(strength, _CLEAR_QUANTILE)) if len(strength) else 0.0
    if loud <= 0.0 or len(beats_s) == 0:
        return np.empty(0), np.empty(0)
    hops, _ = signal.find_peaks(strength, height=_CLEAR_SHARE * loud, distance=_APART_HOPS)
    times_s = hops * HOP_S
    among = (times_s > beats_s[0] - 2 * _REACH_S) & (times_s < beats_s[-1] + 2 * _REACH_S)
    return times_s[among], np.minimum(strength[hops], loud)[among]


SHORTEST_S: Final = 0.23  # shortest period of a pulse, 261 a minute; by judgement
LONGEST_S: Final = 1.6  # longest period of a pulse, 37.5 a minute; by judgement
# weight of steps that leave the period in the search [El07]_; value by judgement
LOOSE: Final = 150.0
TIGHT: Final = 1500.0
"""Follows a tempo that drifts, or is not led astray by a passage of off-beats."""
_N_MULTIPLES: Final = 4  # a period is counted with this many of its multiples; by judgement
_SPREAD_S: Final = 0.015  # deviation of the bell that smooths strength, seconds; by judgement
_LOCAL_S: Final = 1.0  # seconds of surroundings that strength is measured against; by judgement
_SMOOTH_BEATS: Final = 2.0  # deviation of the bell that smooths beat times, beats; by judgement


def pulse_periods(strength: Floats, *, n_periods: int) -> list[float]:
    """The periods in seconds that onset strength repeats at, clearest first.

    Parameters
    ----------
    strength : ndarray, shape (n_hops,)
        Onset strength.
    """
    centred = np.pad(peaky(strength), (0, len(strength)))
    spectrum = fft.rfft(centred)
    auto = fft.irfft(np.abs(spectrum) ** 2)[: len(strength)]
    auto = auto / np.maximum(np.arange(len(auto), 0, -1), len(auto) // 4)
    longest = min(LONGEST_S / HOP_S, (len(auto) - 2) / _N_MULTIPLES)
    periods = np.arange(SHORTEST_S / HOP_S, longest, 0.25)
    comb = np.zeros(len(periods))
    for multiple in range(1, _N_MULTIPLES + 1):
        comb += np.interp(periods * multiple, np.arange(len(auto)), auto) / multiple**0.5
    comb *= np.sqrt(SHORTEST_S / HOP_S / periods) ** 0.5
    inner = comb[1:-1]
    peaks = np.flatnonzero((inner >= comb[:-2]) & (inner > comb[2:]) & (inner > 0)) + 1
    ranked = peaks[np.argsort(-comb[peaks], kind="stable")]
    return [float(periods[p] * HOP_S) for p in ranked[:n_periods]]


def pulse_times(strength: Floats, *, period_s: float, tightness: float = LOOSE) -> Floats:
    """Times of the pulse of a period, smoothed over a few beats.

    Parameters
    ----------
    strength : ndarray, shape (n_hops,)
        Onset strength.
    period_s : float
        Roughly the distance of the beats.
    tightness : float
        How much its steps are kept to that distance.

    Returns
    -------
    ndarray, shape (n_beats,)
        Seconds from the first hop.
    """
    hops = _best_chain(peaky(strength), period_s / HOP_S, tightness)
    times = np.asarray(hops * HOP_S, dtype=np.float64)
    least = 4
    if len(times) < least:
        return times
    numbers = np.arange(len(times))
    line = np.polyval(np.polyfit(numbers, times, 1), numbers)
    off = ndimage.gaussian_filter1d(times - line, _SMOOTH_BEATS, mode="nearest")
    return np.asarray(line + off, dtype=np.float64)


def peaky(strength: Floats) -> Floats:
    """Strength above its surroundings, smoothed by a few hops, of unit deviation."""
    smooth = ndimage.gaussian_filter1d(strength, _SPREAD_S / HOP_S)
    local = ndimage.uniform_filter1d(smooth, round(_LOCAL_S / HOP_S), mode="nearest")
    above = np.maximum(smooth - local, 0.0)
    scaled: Floats = above / max(float(above.std()), 1e-12)
    return scaled


@njit(cache=True)
def _best_chain(strength, period_hops, tightness):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202 - numba infers
    """Hops of the chain that gathers most strength."""
    n_hops = len(strength)
    shortest = max(int(period_hops * 0.75), 1)
    longest = int(period_hops * 1.3) + 1
    cost = np.empty(longest + 1)
    for lag in range(shortest, longest + 1):
        cost[lag] = tightness * np.log(lag / period_hops) ** 2
    score = strength.copy()
    before = np.full(n_hops, -1)
    for hop in range(shortest, n_hops):
        best = 0.0
        for lag in range(shortest, min(longest, hop) + 1):
            value = score[hop - lag] - cost[lag]
            if value > best:
                best = value
                before[hop] = hop - lag
        score[hop] += best
    last = max(n_hops - longest, 0)
    hop = last + int(np.argmax(score[last:]))
    n_beats = 0
    chain = np.empty(n_hops // shortest + 2)
    while hop >= 0:
        chain[n_beats] = hop
        n_beats += 1
        hop = before[hop]
    return chain[:n_beats][::-1].copy()
