"""When the first note begins: where the recording is told best with the voice against without.

The power at each partial of the note is put together from four things that only add: the
voice as its stem has it, moved to a shift; the band as the other stems have it, on its own
beat; what is as strong between the partials, strokes that the plan may not have; and what
goes on all the time. How much there is of each is fitted by its ratio to the recording
(Itakura-Saito divergence, multiplicative steps [FBD09]_), once with the voice and once
without. The shift at which the voice explains most is the entry's: a stroke or a chord that
happens to be at a partial is explained without the voice, and tells no time.

References
----------
.. [FBD09] C. Fevotte, N. Bertin and J.-L. Durrieu, "Nonnegative matrix factorization with
   the Itakura-Saito divergence", Neural Computation 21(3), 2009, 793-830.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.note import FINE_S, note_levels
from segue.review.partials import bent
from segue.review.rise import REACH_S

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.review.rise import Side
    from segue.review.stems import StemLevels
    from segue.review.voice import PlannedVoice

    Floats = npt.NDArray[np.float64]

_AROUND_S: Final = 0.2
"""On either side of the attack: more of the song has more in it that the four do not tell
(this and all below chosen on takes of odd seeds of `benchmarks/review.py`)."""
_STEP_HOPS: Final = 2
_N_ROUNDS: Final = 30
_WRONG_DB: Final = 5.0
"""An error of this size is nearly as bad as any: dips and strokes are no matter of degree."""
_PRIOR: Final = 0.02
"""Against places at the end of the reach (set by judgement)."""
_FLOOR: Final = 1e-4
"""Of the mean power: what is softer is as good as silent."""
_TINY: Final = 1e-9


def onset_s(
    voice: PlannedVoice, stems: StemLevels, take: Side, *, cents: float, near_cents: float
) -> float:
    """How late the first note begins in a recording.

    Parameters
    ----------
    voice : PlannedVoice
    stems : StemLevels
        The first note in the plan's stems.
    take : Side
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
    together: Floats = np.matmul(amounts[:, :, None], parts)[:, :, 0] + _TINY
    return together


def _weights(voice: PlannedVoice) -> Floats:
    """Of the partials, which add to 1: how much of the sound there is the voice's."""
    share = np.square(voice.share[: voice.n_first].mean(axis=0))
    weights: Floats = share / (share.sum() + _TINY)
    return weights
