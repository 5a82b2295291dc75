"""Attacks: where a sound starts, to a fraction of a millisecond.

The salience of an attack at an instant is the ratio of the energy in a short window after it
to the energy in a window before it, weighted by how loud it gets: it peaks where the energy
starts to rise, not where the spectrum of a long window has risen most.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage, signal

from segue.analysis.onsets import RATE_HZ

if TYPE_CHECKING:
    import numpy.typing as npt

STEP_FRAMES: Final = 8
STEP_S: Final = STEP_FRAMES / RATE_HZ
_AROUND_S: Final = 2.0
_FLOOR_DB: Final = -30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AttackCurve:
    """Salience of an attack at every step of `STEP_S`.

    Parameters
    ----------
    salience : ndarray, shape (n_steps,)
        0 where the energy falls.
    """

    salience: npt.NDArray[np.float64]


def attack_curve(mono: npt.NDArray[np.float32], *, after_s: float, before_s: float) -> AttackCurve:
    """Salience of attacks in a sound at `RATE_HZ`.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound at `RATE_HZ`.
    after_s, before_s : float
        Windows over which the energy is taken; short for drums, longer for soft attacks.
    """
    emphasised = np.diff(mono, prepend=mono[:1])
    n_steps = len(mono) // STEP_FRAMES
    energy = np.square(emphasised[: n_steps * STEP_FRAMES], dtype=np.float64)
    energy = energy.reshape(n_steps, STEP_FRAMES).sum(axis=1)
    after = _decaying_mean(energy[::-1], after_s)[::-1]
    before = np.concatenate([[0.0], _decaying_mean(energy, before_s)[:-1]])
    slow = ndimage.maximum_filter1d(after, round(_AROUND_S / STEP_S))
    floor = slow * 10 ** (_FLOOR_DB / 10) + 1e-30
    rise = np.log((after + floor) / (before + floor))
    return AttackCurve(salience=np.maximum(rise, 0.0) * np.sqrt(after / (slow + 1e-30)))


def _decaying_mean(energy: npt.NDArray[np.float64], decay_s: float) -> npt.NDArray[np.float64]:
    """Mean of what came until each step, weighted less the longer ago."""
    keep = np.exp(-STEP_S / decay_s)
    mean: npt.NDArray[np.float64] = signal.lfilter([1 - keep], [1, -keep], energy)
    return mean


def attacks_near(
    curve: AttackCurve, near_s: npt.NDArray[np.float64], *, within_s: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """The most salient attack near each of some times.

    Parameters
    ----------
    curve : AttackCurve
        Salience of attacks.
    near_s : ndarray, shape (n,)
        Times.
    within_s : float
        How far from them to look.

    Returns
    -------
    times_s, salience : ndarray, shape (n,)
        Salience is 0 where there is none.
    """
    reach = round(within_s / STEP_S)
    offsets = np.arange(-reach, reach + 1)
    places = np.round(near_s / STEP_S).astype(int)[:, np.newaxis] + offsets
    inside = (places >= 1) & (places < len(curve.salience) - 1)
    window = np.where(inside, curve.salience[np.clip(places, 0, len(curve.salience) - 1)], 0.0)
    nearness = 1.0 - 0.5 * (offsets / (reach + 1.0)) ** 2
    best = np.argmax(window * nearness, axis=1)
    rows = np.arange(len(near_s))
    middle = np.clip(places[rows, best], 1, len(curve.salience) - 2)
    left, peak, right = (curve.salience[middle + d] for d in (-1, 0, 1))
    bend = left - 2 * peak + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    times = (middle + 0.5 + np.clip(shift, -0.5, 0.5)) * STEP_S
    return times, window[rows, best]
