"""Whether the singer is heard at all: the voice's partials over the whole of what is sung.

At the partials that the voice has to itself in the plan, its sound stands out of what is beside
them. How far it does so in the take is told between how far it does in the plan and how far the
band alone does there: 1 is all of it, 0 a band without a singer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.partial_levels import partial_hz, read_at, spectra

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.voice import SungPart

    Floats = npt.NDArray[np.float64]

LEAST_READINGS: Final = 20  # fewer tell nothing: 0.6 s of singing; by judgement
_CENTS: Final = np.arange(-160.0, 161.0, 10.0)
"""A singer may be off by so much, and is heard nevertheless (by judgement)."""
# And late or early by so much; by judgement
_LATE_S: Final = (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3)
# Steps of the lateness of a phrase, and how many to each side, as far as an entry is looked
# for; by judgement
_PHRASE_STEP_S, _PHRASE_REACH = 0.04, 8
_REACH_S: Final = 0.4  # from an end of the recording nothing is read; by judgement
_LEAST_OVER_DB: Final = 1.0  # by which the plan's voice must stand out to be missed; by judgement
# Beside a partial, where its own peak is over; by judgement
_BESIDE_HZ: Final = np.concatenate([np.arange(-80.0, -34.0, 9.0), np.arange(35.0, 81.0, 9.0)])
_MOST_DB: Final = 18.0  # a partial that stands out by more counts no more; by judgement
ABSENT_BELOW: Final = 0.5
"""Of the voice's presence: less is no singer. On odd seeds of `benchmarks/review.py` singers had
.63 and more, also late and flat and through a phone; bands without one .36 at most."""
_TINY: Final = 1e-9  # keeps the logarithm of silence finite


def presence(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How much of the singer is heard in a recording.

    Parameters
    ----------
    take_s_at : callable
        Seconds of the recording of a time of the render.
    tuning_cents : float
        How far the recording is above the render.

    Returns
    -------
    float or None
        0 for a band without a singer, 1 for the singer of the plan, as they stand out; None
        where less than `LEAST_READINGS` of it is in the recording, or the plan's voice hardly
        stands out.
    """
    read = _in_take(part, take, take_s_at, tuning_cents)
    over_db = part.sung_db - part.band_db
    if read is None or over_db < _LEAST_OVER_DB:
        return None
    return (outstanding_db(take, *read) - part.band_db) / over_db


def phrase_late_s(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> float | None:
    """How late the whole of what is sung is: where its partials stand out most.

    Nearer than `_PHRASE_STEP_S` it cannot tell; but it is never another note.

    Returns
    -------
    float or None
        None where too little of it is in the recording.
    """
    read = _in_take(part, take, take_s_at, tuning_cents)
    if read is None:
        return None
    at_s, *pitch = read
    shifts_s = np.arange(-_PHRASE_REACH, _PHRASE_REACH + 1) * _PHRASE_STEP_S
    over = [_over_db(take, at_s + shift, *pitch) for shift in shifts_s]
    return float(shifts_s[int(np.argmax(over))])


def _in_take(
    part: SungPart, take: Clip, take_s_at: Callable[[float], float], tuning_cents: float
) -> tuple[Floats, Floats, Floats] | None:
    """Times in the recording, pitches and weights of what of it is there; None where too little."""
    at_s = np.array([take_s_at(float(s)) for s in part.at_s])
    inside = (at_s > _REACH_S) & (at_s < take.duration_s - _REACH_S)
    if inside.sum() < LEAST_READINGS:
        return None
    return at_s[inside], part.midi[inside] + tuning_cents / 100, part.weights[inside]


def outstanding_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch and lateness."""
    return max(_over_db(clip, at_s + late_s, midi, weights) for late_s in _LATE_S)


def _over_db(clip: Clip, at_s: Floats, midi: Floats, weights: Floats) -> float:
    """How far partials stand out of what is beside them, at the best pitch."""
    magnitudes = spectra(clip, at_s)
    hz = partial_hz(midi[:, None] + _CENTS / 100)
    levels = 20 * np.log10(read_at(magnitudes, hz) + _TINY)
    beside_hz = partial_hz(midi)[..., None] + _BESIDE_HZ
    beside = 20 * np.log10(np.median(read_at(magnitudes, beside_hz), axis=-1) + _TINY)
    over = np.clip(levels - beside[:, None, :], -_MOST_DB, _MOST_DB)
    return float((np.einsum("hcp,hp->c", over, weights) / weights.sum()).max())
