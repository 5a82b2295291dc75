"""When the first note begins: where the recording is told best with the voice against without.

The power at each partial of the note is put together from four things that only add: the
voice as its stem has it, moved to a shift; the band as the other stems have it, on its own
beat; what is as strong between the partials, strokes that the plan may not have; and what
goes on all the time. How much there is of each is fitted by its ratio to the recording
(Itakura-Saito divergence, multiplicative steps [FBD09]_), once with the voice and once
without. The shift at which the voice explains most is the entry's: a stroke or a chord that
happens to be at a partial is explained without the voice, and tells no time.

Where no stem is at hand, and as a second witness, the rise of the note's partials in the render is
slid along the recording: each partial from 14 dB below its settled level up, without what is as
strong between the partials.

References
----------
.. [FBD09] C. Fevotte, N. Bertin and J.-L. Durrieu, "Nonnegative matrix factorization with
   the Itakura-Saito divergence", Neural Computation 21(3), 2009, 793-830.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.listening import bent
from segue.review.partials import FINE_S, note_levels
from segue.review.voice import HOP_S, PlannedVoice

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import Clip
    from segue.review.stems import StemLevels


REACH_S: Final = 0.3
"""How far from the band's beat an entry is looked for (by judgement)."""
_BEFORE_S, _AFTER_S = 0.25, 0.25  # of the note's attack that are compared; by judgement
_RANGE_DB: Final = 14.0
"""Below its settled level a partial has not begun: as far as an attack is below its note
where the song's own first note is read (by judgement)."""
_RISE_PRIOR: Final = 0.024
"""Against far places (set by judgement)."""
_MOST_WEIGHT: Final = 0.3
"""Of one partial: an instrument that crosses it alone must not tell the time (by judgement)."""
_RISEN_S: Final = 0.06  # a partial weighs by how it has risen after this time; by judgement
SETTLED_S: Final = 0.07  # a note's level is settled from here on; by judgement
_AROUND_S: Final = 0.2
"""On either side of the attack: more of the song has more in it that the four do not tell
(this and all below chosen on takes of `benchmarks/_review_damage.py`)."""
_STEP_HOPS: Final = 2  # shifts are tried at every second hop, and bent between; by judgement
_N_ROUNDS: Final = 30  # of the multiplicative steps [FBD09]_
_WRONG_DB: Final = 5.0
"""An error of this size is nearly as bad as any: dips and strokes are no matter of
degree (by judgement)."""
_PRIOR: Final = 0.02
"""Against places at the end of the reach (set by judgement)."""
_FLOOR: Final = 1e-4
"""Of the mean power: what is softer is as good as silent (by judgement)."""
_TINY: Final = 1e-9  # keeps silence from a division by zero


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteSource:
    """A sound that the voice is looked for in.

    Parameters
    ----------
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
    reference: NoteSource,
    take: NoteSource,
    *,
    guess: tuple[float, float],
    near_cents: float,
) -> tuple[float, float]:
    """Shift at which the first note's partials come up alike, and how alike.

    Each partial counts by its covariance with the plan's, so that what other instruments hold
    there, before the note and in it, shifts nothing.

    Parameters
    ----------
    reference, take : NoteSource
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
    weights = _rise_weights(voice, known, n_before)
    heard = _presence(voice, take, (n_before + n_reach, n_after + n_reach), guess, near_cents)
    shifts_s = (np.arange(2 * n_reach + 1) - n_reach) * FINE_S
    windows = np.lib.stride_tricks.sliding_window_view(heard, len(known), axis=0)
    rise = known - known.mean(axis=0)
    together = np.maximum(np.einsum("sph,hp->sp", windows, rise) / len(known), 0.0)
    explained = (np.square(together) / (np.square(rise).mean(axis=0) + _TINY)) @ weights
    score = explained - _RISE_PRIOR * np.square(shifts_s / REACH_S)
    best = int(np.argmax(score))
    there = windows[best].T * weights
    alike = np.corrcoef((known * weights).ravel(), there.ravel())[0, 1] if there.any() else 0.0
    return float(shifts_s[best] + FINE_S * bent(score, best)), max(float(alike), 0.0)


def _after_s(voice: PlannedVoice) -> float:
    return min(voice.n_first * HOP_S, _AFTER_S)


def _rise_weights(voice: PlannedVoice, known: Floats, n_before: int) -> Floats:
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
    side: NoteSource,
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


def onset_s(
    voice: PlannedVoice, stems: StemLevels, take: NoteSource, *, cents: float, near_cents: float
) -> float:
    """How late the first note begins in a recording.

    Parameters
    ----------
    stems : StemLevels
        The first note in the plan's stems.
    take : NoteSource
        The recording, and the band's beat as the place to look.
    cents : float
        How sharp the note is, from an earlier look.
    near_cents : float
        How far above it the pitch may be.

    Returns
    -------
    float
        Seconds; negative is early.
    """
    n_reach, n_around = round(REACH_S / FINE_S), round(_AROUND_S / FINE_S)
    shifts = np.arange(-n_reach, n_reach + 1, _STEP_HOPS)
    around = np.arange(-n_around, n_around + 1)
    hops = np.arange(-n_reach - n_around, n_reach + n_around + 1)
    midi = np.nanmedian(voice.midi[: voice.n_first]) + (cents + take.tuning_cents) / 100
    at_s: Floats = take.start_s + hops.astype(np.float64) * (FINE_S * take.rate)
    levels, between = note_levels(take.clip, at_s, float(midi), near_cents=near_cents)
    middle = len(stems.voice) // 2
    places = shifts[:, None] + around + n_reach + n_around
    heard, strokes, band = (
        _by_partial(power[places])
        for power in (np.square(levels), np.square(between), stems.band[middle + hops])
    )
    sung = np.broadcast_to(stems.voice[middle + around].T, heard.shape)
    scale = heard.mean(axis=2, keepdims=True)
    heard = np.maximum(heard / (scale + _TINY**2), _FLOOR)
    others = [_even(part) for part in (strokes, band, np.ones_like(heard))]
    near = np.hanning(len(around) + 2)[1:-1]
    without = _misfit(heard, np.stack(others, axis=2), near)
    together = _misfit(heard, np.stack([*others, _even(sung)], axis=2), near)
    told = np.maximum(without - together, 0.0) @ _weights(voice)
    score = told - _PRIOR * np.square(shifts / n_reach)
    best = int(np.argmax(score))
    return float(FINE_S * (shifts[best] + _STEP_HOPS * bent(score, best)))


def _by_partial(windows: Floats) -> Floats:
    """Windows of powers with time last, shape (n_shifts, N_PARTIALS, n_times)."""
    turned: Floats = np.ascontiguousarray(windows.transpose(0, 2, 1))
    return turned


def _even(part: Floats) -> Floats:
    """A part with mean 1 over time, or all zeros."""
    even: Floats = part / (part.mean(axis=2, keepdims=True) + _TINY**2)
    return even


def _misfit(heard: Floats, parts: Floats, near: Floats) -> Floats:
    """How badly parts that add tell what is heard, 0 to 1, shape (n_shifts, N_PARTIALS).

    `parts` has shape (n_shifts, N_PARTIALS, n_parts, n_times); `near` weighs the times.
    """
    amounts = np.full(parts.shape[:3], 1.0 / parts.shape[2])
    for _ in range(_N_ROUNDS):
        told = _sum_of(amounts, parts)
        over = near / told
        up = np.matmul(parts, (over * heard / told)[..., None])[..., 0]
        down = np.matmul(parts, over[..., None])[..., 0]
        amounts *= np.sqrt(up / (down + _TINY))
    off_db = 10 * np.log10(heard / _sum_of(amounts, parts))
    wrong = 1 - np.exp(-np.square(off_db / _WRONG_DB))
    misfit: Floats = wrong @ near / near.sum()
    return misfit


def _sum_of(amounts: Floats, parts: Floats) -> Floats:
    together: Floats = np.einsum("...a,...ab->...b", amounts, parts) + _TINY
    return together


def _weights(voice: PlannedVoice) -> Floats:
    """Of the partials, which add to 1: how much of the sound there is the voice's."""
    share = np.square(voice.share[: voice.n_first].mean(axis=0))
    weights: Floats = share / (share.sum() + _TINY)
    return weights
