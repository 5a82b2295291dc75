"""Whether anything of a key can be heard in a sound: notes hold their pitch, noise does not.

Any sound has spectral peaks, and the peaks of drums or speech add up to some key as well. Those
of notes stay where they are for longer than a window, or come back; how much more often
they do so than chance would have it tells music that has a key from what has none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from segue.analysis.tuning import SpectralPeaks

Floats = npt.NDArray[np.float64]

_LAGS_HOPS: Final = (2, 3)
"""0.7 and 1 s: two, since a drum loop comes back too, but hardly at both."""
_SAME_CENTS: Final = 10.0
_ELSEWHERE_CENTS: Final = 37.0
"""Off any note by this, a peak is met by chance alone."""
_AS_STRONG: Final = 0.2
_SETTLED_HZ: Final = 300.0
_AXIS_CENTS: Final = 20_000.0
_NOISE, _NOTES = 0.05, 0.11
"""Chosen on the 42 first edges of the ears benchmark's seed 1, which have 0.13 or more, and on
speech, applause and drum loops, rendered and made up, which have 0.09 at most."""


def pitched_share(peaks: SpectralPeaks) -> float:
    """How far an edge is music with pitches, 0 (noise, speech, drums) to 1.

    Parameters
    ----------
    peaks : SpectralPeaks
        Of its `segue.analysis.tuning.pitched_peaks`.

    Returns
    -------
    float
        0..1. Where the edge is too short to tell, 1: then nothing speaks against.
    """
    share = held_share(peaks)
    if share is None:
        return 1.0
    return float(np.clip((share - _NOISE) / (_NOTES - _NOISE), 0.0, 1.0))


def held_share(peaks: SpectralPeaks) -> float | None:
    """Share of peaks that are met again at their own pitch, less those at any other.

    The least of some distances in time; None where the sound is shorter than the longest.
    """
    weights = peaks.amplitudes * np.minimum(peaks.hertz / _SETTLED_HZ, 1.0)
    total = float(weights.sum())
    if not total > 0:
        return 0.0
    if peaks.hops[-1] - peaks.hops[0] <= _LAGS_HOPS[-1]:
        return None
    place = peaks.hops * _AXIS_CENTS + peaks.cents  # one axis for all hops, far apart
    shares = []
    for lag in _LAGS_HOPS:
        ahead = lag * _AXIS_CENTS
        by_chance = _met(place, weights, ahead + _ELSEWHERE_CENTS)
        shares.append(_met(place, weights, ahead) - by_chance)
    return min(shares) / total


def _met(place: Floats, weights: Floats, ahead: float) -> float:
    """Weight of the peaks that have another one so far ahead, about as strong."""
    order = np.argsort(place)
    known, strong = place[order], weights[order]
    wanted = place + ahead
    above = np.clip(np.searchsorted(known, wanted), 1, len(known) - 1)
    is_below = np.abs(known[above - 1] - wanted) < np.abs(known[above] - wanted)
    nearest = np.where(is_below, above - 1, above)
    is_met = np.abs(known[nearest] - wanted) < _SAME_CENTS
    is_met &= strong[nearest] > _AS_STRONG * weights
    return float(weights[is_met].sum())
