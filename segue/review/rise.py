"""When the first note rises, against the render, where it is known.

The rise of the note's partials is slid along the recording: each partial from 14 dB below its
settled level up, without what is as strong between the partials.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.note import FINE_S, note_levels
from segue.review.partials import bent
from segue.review.voice import HOP_S

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.voice import PlannedVoice

    Floats = npt.NDArray[np.float64]

REACH_S: Final = 0.3
"""How far from the band's beat an entry is looked for."""
_BEFORE_S, _AFTER_S = 0.25, 0.25
_RANGE_DB: Final = 14.0
"""Below its settled level a partial has not begun: as far as an attack is below its note
where the song's own first note is read."""
_PRIOR: Final = 0.024
"""Against far places (set by judgement)."""
_MOST_WEIGHT: Final = 0.3
"""Of one partial: an instrument that crosses it alone must not tell the time."""
_RISEN_S: Final = 0.06
SETTLED_S: Final = 0.07
_TINY: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """A sound that the voice is looked for in.

    Parameters
    ----------
    clip : Clip
    start_s : float
        Where the planned attack is in it.
    rate : float
        Its seconds to one of the plan.
    tuning_cents : float
        Against the plan.
    """

    clip: Clip
    start_s: float
    rate: float = 1.0
    tuning_cents: float = 0.0


def lateness(
    voice: PlannedVoice,
    reference: Side,
    take: Side,
    *,
    guess: tuple[float, float],
    near_cents: float,
) -> tuple[float, float]:
    """Shift at which the first note's partials come up alike, and how alike.

    Each partial counts by its covariance with the plan's, so that what other instruments hold
    there, before the note and in it, shifts nothing.

    Parameters
    ----------
    voice : PlannedVoice
    reference, take : Side
        The render, and the recording with the band's beat as the place to look.
    guess : tuple of float
        Seconds late and cents sharp, from an earlier look.
    near_cents : float
        How far above the guess the pitch may be.

    Returns
    -------
    late_s : float
        Negative is early.
    clearness : float
        0 to 1.
    """
    n_before, n_after = round(_BEFORE_S / FINE_S), round(_after_s(voice) / FINE_S)
    n_reach = round(REACH_S / FINE_S)
    known = _presence(voice, reference, (n_before, n_after), (0.0, 0.0), near_cents)
    weights = _weights(voice, known, n_before)
    heard = _presence(voice, take, (n_before + n_reach, n_after + n_reach), guess, near_cents)
    shifts_s = (np.arange(2 * n_reach + 1) - n_reach) * FINE_S
    windows = np.lib.stride_tricks.sliding_window_view(heard, len(known), axis=0)
    rise = known - known.mean(axis=0)
    together = np.maximum(np.einsum("sph,hp->sp", windows, rise) / len(known), 0.0)
    explained = (np.square(together) / (np.square(rise).mean(axis=0) + _TINY)) @ weights
    score = explained - _PRIOR * np.square(shifts_s / REACH_S)
    best = int(np.argmax(score))
    there = windows[best].T * weights
    alike = np.corrcoef((known * weights).ravel(), there.ravel())[0, 1] if there.any() else 0.0
    return float(shifts_s[best] + FINE_S * bent(score, best)), max(float(alike), 0.0)


def _after_s(voice: PlannedVoice) -> float:
    return min(voice.n_first * HOP_S, _AFTER_S)


def _weights(voice: PlannedVoice, known: Floats, n_before: int) -> Floats:
    """Of the partials of the first note, which add to 1.

    Where the voice is strong and alone, and comes up: what the band holds already tells no time.
    Strength counts by its root, for a partial is read by how far it stands out of the band.
    """
    first = slice(voice.n_first)
    risen = min(round(_RISEN_S / FINE_S), (len(known) - n_before) // 2)
    rise = known[n_before + risen :].mean(axis=0) - known[: n_before - risen].mean(axis=0)
    strength = (np.square(voice.share[first]) * np.sqrt(voice.level[first])).mean(axis=0)
    strength = strength * np.maximum(rise, _TINY)
    capped = np.minimum(strength / (strength.sum() + _TINY), _MOST_WEIGHT)
    weights: Floats = capped / (capped.sum() + _TINY)
    return weights


def _presence(
    voice: PlannedVoice,
    side: Side,
    n_around: tuple[int, int],
    guess: tuple[float, float],
    near_cents: float,
) -> Floats:
    """How far each partial of the first note is up, 0 to 1, around its place.

    1 is its settled level after the guess (seconds late, cents sharp), 0 what the band
    alone may leave there or less. What is as strong between the partials is taken out: a
    stroke on the drums is at all frequencies, and in the plan it comes with the note.
    """
    hops = np.arange(-n_around[0], n_around[1] + 1.0)
    at_s: Floats = side.start_s + hops * FINE_S * side.rate
    midi = np.nanmedian(voice.midi[: voice.n_first]) + (guess[1] + side.tuning_cents) / 100
    levels, between = note_levels(side.clip, at_s, float(midi), near_cents=near_cents)
    levels = np.sqrt(np.maximum(levels**2 - between**2, 0.0))
    after_s = hops * FINE_S - guess[0]
    settled = np.median(levels[(after_s > SETTLED_S) & (after_s < _after_s(voice))], axis=0)
    below_db = 20 * np.log10(levels / (settled + _TINY) + _TINY)
    presence: Floats = np.clip(1 + below_db / _RANGE_DB, 0.0, 1.0)
    return presence
