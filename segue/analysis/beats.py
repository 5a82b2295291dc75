"""A regular pulse in onset strength, at whatever level of the metre it is clearest.

Periods are the peaks of the autocorrelation, each counted with its multiples. A pulse of a
period is the chain of hops that gathers most onset strength while its steps stay near that
period, found by dynamic programming [El07]_.

References
----------
.. [El07] D. P. W. Ellis, "Beat tracking by dynamic programming", Journal of New Music
   Research 36(1), 2007, 51-60.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit
from scipy import fft, ndimage

from segue.analysis.onsets import HOP_S

if TYPE_CHECKING:
    import numpy.typing as npt

SHORTEST_S: Final = 0.23
LONGEST_S: Final = 1.6
LOOSE: Final = 150.0
TIGHT: Final = 1500.0
"""Follows a tempo that drifts, or is not led astray by a passage of off-beats."""
_N_MULTIPLES: Final = 4
_SPREAD_S: Final = 0.015
_LOCAL_S: Final = 1.0
_SMOOTH_BEATS: Final = 2.0


def pulse_periods(strength: npt.NDArray[np.float64], *, n_periods: int) -> list[float]:
    """The periods in seconds that onset strength repeats at, clearest first.

    Parameters
    ----------
    strength : ndarray, shape (n_hops,)
        Onset strength.
    n_periods : int
        How many at most.
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


def pulse_times(
    strength: npt.NDArray[np.float64], *, period_s: float, tightness: float = LOOSE
) -> npt.NDArray[np.float64]:
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


def peaky(strength: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Strength above its surroundings, smoothed by a few hops, of unit deviation."""
    smooth = ndimage.gaussian_filter1d(strength, _SPREAD_S / HOP_S)
    local = ndimage.uniform_filter1d(smooth, round(_LOCAL_S / HOP_S), mode="nearest")
    above = np.maximum(smooth - local, 0.0)
    scaled: npt.NDArray[np.float64] = above / max(float(above.std()), 1e-12)
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
