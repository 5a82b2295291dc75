"""Whether a chord that leads home is heard before the entry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.music.key import N_PITCH_CLASSES
from segue.score.scale import rising
from segue.score.scorecard import Measure
from segue.score.tones import CLEAR_SHARE, clarity, interval_vector

if TYPE_CHECKING:
    from segue.score.hearing import Hearing

Floats = npt.NDArray[np.float64]

_LEADING: Final[dict[str, dict[str, tuple[int, ...]]]] = {
    "major": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 9, 0)},
    "minor": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 8, 0)},
}
"""Chords that lead home, authentic and plagal, in semitones above the tonic of each mode."""
WITHOUT: Final = 0.5
"""Score without any chord that leads: many a good way across does without. Set by judgement."""
_NONE: Final = -0.1
_PLAIN: Final = 0.02
"""Lead of the best leading chord over the best other triad, in cosine: none, and plain."""
_MOSTLY: Final = 0.6
_TRIADS: Final = tuple((0, third, 7) for third in (3, 4))


def cadence(hearing: Hearing) -> Measure | None:
    """How plainly a chord that leads home fills the last bar; None without notes there."""
    plan = hearing.plan
    beats = [plan.entry_beat - back for back in range(hearing.metre, 0, -1)]
    found = [_lead_at(hearing, beat) for beat in beats]
    # the nearer to the entry, the more a beat counts: 1, 2, 3, 4 in a bar of four
    heard = [(weight, *lead) for weight, lead in enumerate(found, start=1) if lead is not None]
    if not heard:
        return None
    total = sum(weight for weight, *_ in heard)
    share = sum(weight * rising(lead, bad=_NONE, good=_PLAIN) for weight, lead, *_ in heard) / total
    lead, name, beat = max(entry[1:] for entry in heard)
    worst = min(heard, key=lambda entry: entry[1])[3]
    how = "leads" if share > _MOSTLY else "leads only in part"
    sentence = (
        f"A {name} chord of {plan.key_to} {how} into the entry."
        if lead > 0.0
        else f"No chord leads to {plan.key_to} before the entry."
    )
    return Measure(
        name="cadence",
        label="cadence",
        value=share,
        unit="",
        score=WITHOUT + (1.0 - WITHOUT) * share,
        threshold=f"1 is a leading chord up to the entry; without one {WITHOUT:g} is left",
        source="common practice, no source",
        sentence=sentence,
        worst_beat=beat if share > _MOSTLY else worst,
    )


def _lead_at(hearing: Hearing, beat: float) -> tuple[float, str, float] | None:
    """How much better the best leading chord fits a beat than any other triad, and its name."""
    plan = hearing.plan
    chroma = hearing.tones.mean_chroma(plan.seconds_at(beat), plan.seconds_at(beat + 1))
    if clarity(interval_vector(chroma)) < CLEAR_SHARE:
        return None
    leading = {
        name: frozenset((plan.key_to.tonic + d) % N_PITCH_CLASSES for d in degrees)
        for name, degrees in _LEADING[plan.key_to.mode].items()
    }
    others = {
        frozenset((root + d) % N_PITCH_CLASSES for d in triad)
        for root in range(N_PITCH_CLASSES)
        for triad in _TRIADS
    } - set(leading.values())
    best, name = max((_fit(chroma, chord), name) for name, chord in leading.items())
    return best - max(_fit(chroma, chord) for chord in others), name, beat


def _fit(chroma: Floats, chord: frozenset[int]) -> float:
    """Cosine of the angle between a chroma and a chord."""
    return float(chroma[list(chord)].sum() / (np.linalg.norm(chroma) * np.sqrt(len(chord))))
