"""How evenly the attacks lie on beats: a pulse keeps them there, free time does not.

The evidence of metre says which way of counting is the best, and some way always is. Whether
there is anything to count is asked here: in music with a pulse nearly every clear attack falls
on a beat or an even part of one, in free time no more of them than chance puts there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import signal

from segue.analysis.beats import peaky
from segue.analysis.onsets import HOP_S

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_REACH_S: Final = 0.025
"""An attack this near to a place counts as on it: what players and soft attacks are off by."""
_PARTS: Final = (1, 2, 3, 4)
_LEAST_PART_S: Final = 0.1
"""Parts of a beat shorter than this are not asked for: chance would fill them."""
_CLEAR_SHARE: Final = 0.45
_CLEAR_QUANTILE: Final = 0.98
_APART_HOPS: Final = 4
_FEWEST_ATTACKS: Final = 4
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
