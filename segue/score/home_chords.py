"""Chords that lead home to a key, and how plainly they are heard: the cadence before bar one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.music.key import N_PITCH_CLASSES, Key
from segue.score.scorecard import Measure, rising
from segue.score.tones import CLEAR_SHARE, clarity, interval_vector

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from segue.score.listening_to import Listened

Floats = npt.NDArray[np.float64]

_LEADING: Final[dict[str, dict[str, tuple[int, ...]]]] = {
    "major": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 9, 0)},
    "minor": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 8, 0)},
}
"""Chords that lead home, authentic and plagal, in semitones above the tonic of each mode."""
WITHOUT: Final = 0.5
"""Score without any chord that leads: many a good bridge does without. Set by judgement."""
LEADS_NOT: Final = -0.1  # lead at which no chord leads home
LEADS_PLAINLY: Final = 0.02
"""Lead of the best leading chord over the best other triad, in cosine: none, and plain."""
# Share of the last bar's weight from which a chord is said to lead; by judgement
MOSTLY: Final = 0.6
_TRIADS: Final = tuple((0, third, 7) for third in (3, 4))


def cadence(hearing: Listened) -> Measure | None:
    """How plainly a chord that leads home fills the last bar; None without notes there."""
    plan = hearing.plan
    beats = [plan.entry_beat - back for back in range(hearing.metre, 0, -1)]
    found = [_lead_at(hearing, beat) for beat in beats]
    # the nearer to the entry, the more a beat counts: 1, 2, 3, 4 in a bar of four
    heard = [(weight, *lead) for weight, lead in enumerate(found, start=1) if lead is not None]
    if not heard:
        return None
    total = sum(weight for weight, *_ in heard)
    share = (
        sum(weight * rising(lead, bad=LEADS_NOT, good=LEADS_PLAINLY) for weight, lead, *_ in heard)
        / total
    )
    lead, name, beat = max(entry[1:] for entry in heard)
    worst = min(heard, key=lambda entry: entry[1])[3]
    how = "leads" if share > MOSTLY else "leads only in part"
    sentence = (
        f"A {name} chord of {plan.key_to} {how} into bar one."
        if lead > 0.0
        else f"No chord leads to {plan.key_to} before bar one."
    )
    return Measure(
        name="cadence",
        label="cadence",
        value=share,
        unit="",
        score=WITHOUT + (1.0 - WITHOUT) * share,
        threshold=f"1 is a leading chord up to bar one; without one {WITHOUT:g} is left",
        source="common practice, no source",
        sentence=sentence,
        worst_beat=beat if share > MOSTLY else worst,
    )


def _lead_at(hearing: Listened, beat: float) -> tuple[float, str, float] | None:
    """How much better the best leading chord fits a beat than any other triad, and its name."""
    plan = hearing.plan
    chroma = hearing.tones.mean_chroma(plan.seconds_at(beat), plan.seconds_at(beat + 1))
    if clarity(interval_vector(chroma)) < CLEAR_SHARE:
        return None
    leading = leading_chords(plan.key_to)
    chords = list(leading.values())
    leads = chord_leads(chroma[np.newaxis], chords, own=chords)[0]
    best = int(leads.argmax())
    return float(leads[best]), tuple(leading)[best], beat


def leading_chords(key: Key) -> dict[str, frozenset[int]]:
    """Pitch classes of the chords that lead home to a key, by their names."""
    return {
        name: frozenset((key.tonic + degree) % N_PITCH_CLASSES for degree in degrees)
        for name, degrees in _LEADING[key.mode].items()
    }


def chord_leads(
    chroma: Floats, chords: Sequence[frozenset[int]], own: Sequence[frozenset[int]]
) -> Floats:
    """How much better each of some chords fits each row than any triad that is not `own`.

    Parameters
    ----------
    chroma : ndarray, shape (n_rows, 12)

    Returns
    -------
    ndarray, shape (n_rows, n_chords)
        Differences of cosines; 0 for a silent row.
    """
    others = {
        frozenset((root + degree) % N_PITCH_CLASSES for degree in triad)
        for root in range(N_PITCH_CLASSES)
        for triad in _TRIADS
    } - set(own)
    best_other = _fits(chroma, sorted(map(sorted, others))).max(axis=1, keepdims=True)
    return np.asarray(_fits(chroma, chords) - best_other)


def _fits(chroma: Floats, chords: Sequence[Iterable[int]]) -> Floats:
    """Cosine of the angles between rows of chroma and chords, shape (n_rows, n_chords)."""
    shapes = np.zeros((len(chords), N_PITCH_CLASSES))
    for shape, chord in zip(shapes, chords, strict=True):
        shape[list(chord)] = 1.0
    lengths = np.linalg.norm(chroma, axis=1, keepdims=True) * np.linalg.norm(shapes, axis=1)
    return np.asarray(chroma @ shapes.T / np.maximum(lengths, 1e-12))
