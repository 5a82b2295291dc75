"""Key profiles: how much each degree of the scale belongs to a key, as published.

A profile is 12 numbers from the tonic upwards in semitones. `profile_matrix`
rotates a set to all 24 keys, in the order of `segue.music.key.ALL_KEYS`.

References
----------
.. [KK82] C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in
   perceived tonal organization in a spatial representation of musical keys",
   Psychological Review 89(4), 1982, 334-368.
.. [S11] I. Sha'ath, "Estimation of key in digital music recordings", MSc thesis,
   Birkbeck College, University of London, 2011.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.music.key import N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.arrays import Floats

Profile = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileSet:
    """A major and a minor profile, 12 weights each, tonic first.

    Parameters
    ----------
    major, minor : tuple of float
        Weights as printed; their scale has no meaning across sets.

    Raises
    ------
    ValueError
        If a profile has not 12 weights.
    """

    major: Profile
    minor: Profile

    def __post_init__(self) -> None:
        if not len(self.major) == len(self.minor) == N_PITCH_CLASSES:
            raise ValueError("a key profile has 12 weights")


# fmt: off
SHAATH: Final = ProfileSet(
    major=(6.6, 2.0, 3.5, 2.3, 4.6, 4.0, 2.5, 5.2, 2.4, 3.7, 2.3, 3.4),
    minor=(6.5, 2.7, 3.5, 5.4, 2.6, 3.5, 2.5, 5.2, 4.0, 2.7, 4.3, 3.2),
)
"""Probe tone ratings fitted to dance music by hand [S11]_."""

KRUMHANSL_KESSLER: Final = ProfileSet(
    major=(6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    minor=(6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
)
"""Ratings 1..7 of how well a probe tone fits after a cadence [KK82]_."""
# fmt: on


def profile_matrix(profiles: ProfileSet) -> Floats:
    """A profile set in all 24 keys.

    Returns
    -------
    ndarray, shape (24, 12)
        Row k is the profile of ``ALL_KEYS[k]`` over pitch classes from C.

    Examples
    --------
    >>> profile_matrix(KRUMHANSL_KESSLER)[7, 7]
    np.float64(6.35)
    """
    both = (profiles.major, profiles.minor)
    return np.array([np.roll(p, tonic) for p in both for tonic in range(N_PITCH_CLASSES)])


def profile_correlations(chroma: Floats, profiles: ProfileSet) -> Floats:
    """Pearson correlation of a chroma with a profile set in all 24 keys.

    Parameters
    ----------
    chroma : ndarray, shape (12,)
        Weights of the pitch classes from C.

    Returns
    -------
    ndarray, shape (24,)
        Correlations -1..1 in the order of ``ALL_KEYS``; 0 for a flat chroma.

    Examples
    --------
    >>> r = profile_correlations(np.array(KRUMHANSL_KESSLER.major), KRUMHANSL_KESSLER)
    >>> r[[0, 7, 21]].round(3).tolist()
    [1.0, 0.591, 0.65]
    """
    rows = profile_matrix(profiles)
    rows = rows - rows.mean(axis=1, keepdims=True)
    centred = np.asarray(chroma, dtype=np.float64) - np.mean(chroma)
    lengths = np.linalg.norm(rows, axis=1) * np.linalg.norm(centred)
    flat = lengths < np.finfo(np.float64).tiny
    return np.where(flat, 0.0, rows @ centred / np.where(flat, 1.0, lengths))
