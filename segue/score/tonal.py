"""Tonal measures: what the pair demands, the way through tonal space that is heard, the cadence.

References
----------
.. [B16] G. Bernardes, D. Cocharro, M. Caetano, C. Guedes and M. E. P. Davies,
   "A multi-level tonal interval space for modelling pitch relatedness and
   musical consonance", Journal of New Music Research 45(4), 2016, 281-294.
.. [KK82] C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in
   perceived tonal organization in a spatial representation of musical keys",
   Psychological Review 89(4), 1982, 334-368.
.. [F16] M. M. Farbood, "Memory of a tonal center after modulation", Music
   Perception 34(1), 2016, 71-93.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.facts import EdgeFacts, have_keys
from segue.music.interval import change_words
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import key_distance as distance_of_keys
from segue.score.scorecard import Measure, NotMeasured, falling, measured, not_measured, rising
from segue.score.tones import CLEAR_SHARE, Tones, clarity, interval_vector, key_place

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from segue.arrays import Floats
    from segue.score.listening_to import Listened


WINDOW_BARS: Final = 4
"""The usual length of a round of chords; shorter windows take each chord for a place."""
NEAR_STEP: Final = 4.0  # from place to place: up to here a near step
FAR_STEP: Final = 14.0
"""Steps between four bars and the next: on rounds of four chords, the same key gives 0.3, keys a
fourth apart 7, a whole tone 10 to 12, a semitone 14 to 17."""
_KEYS_TO_NOTES: Final = 9.0
"""Brings both to one size: a fourth is then 7 by notes and 7 by the keys that they state."""
_IN_KEYS: Final = (
    f"up to {NEAR_STEP:g} is a near step; to a key a fourth away it is 7, a semitone away "
    f"{FAR_STEP:g} or more"
)
"""What the numbers mean to somebody who knows keys."""
_LEAST_STEPS: Final = 8
"""Two seconds of notes; fewer have no place."""
MEMORY_S: Final = 20.0
"""After this time a key is no longer remembered [F16]_."""
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


def key_distance(outgoing: EdgeFacts, incoming: EdgeFacts) -> Measure:
    """How far apart the two keys are: what the pair demands of any segue."""
    old, new = outgoing.key.key, incoming.key.key
    value = distance_of_keys(old, new)
    return measured(
        "key_distance",
        value=value,
        score=rising(1.0 - value, bad=0.0, good=1.0),
        threshold="0 is the same key, 1 the farthest of all 24",
        sentence=f"{change_words(old, new)}.",
    )


def tonal_path(hearing: Listened) -> Measure | NotMeasured:
    """The longest step that the harmony takes, and its detour; no mark for songs without notes."""
    plan = hearing.plan
    first, last = max(plan.exit_beat - 4.0, 2.0), min(plan.entry_beat + 4.0, plan.end_beat - 2.0)
    beats = np.arange(first, max(last, first) + 1.0)
    steps = np.array([step_at(hearing, beat) for beat in beats])
    if np.isnan(steps).all():
        return _unheard("tonal_path", hearing)
    worst = int(np.nanargmax(steps))
    longest, detour = float(steps[worst]), _detour(hearing, first, last)
    route = "direct" if detour < 2.0 else f"roundabout ({detour:.1f} times the direct one)"  # noqa: PLR2004
    sentence = f"Biggest chord move: {_step_words(longest)}. The route is {route}."
    return _path_measure(longest, detour, float(beats[worst]), sentence)


def landing(hearing: Listened) -> Measure | NotMeasured:
    """Whether the new song continues where the music before it had arrived.

    No mark where the songs have no clear notes.
    """
    step = step_at(hearing, hearing.plan.entry_beat, after=hearing.new_tones)
    if np.isnan(step):
        return _unheard("landing", hearing)
    heard = "is there already" if step <= NEAR_STEP else f"takes {_step_words(step)}"
    return measured(
        "landing",
        value=step,
        score=falling(step, good=NEAR_STEP, bad=FAR_STEP),
        threshold=_IN_KEYS,
        sentence=f"At bar one the harmony {heard}.",
        worst_beat=hearing.plan.entry_beat,
    )


def _unheard(name: str, hearing: Listened) -> Measure | NotMeasured:
    """No mark where no clear notes sound; where both songs have a key, they have been lost."""
    why = "no clear notes are heard around the bridge"
    if not have_keys(*hearing.facts):
        return not_measured(name, why=why)
    return measured(
        name,
        value=FAR_STEP,
        score=0.0,
        threshold="the notes of both songs are heard",
        sentence=f"{why.capitalize()}, though both songs have a key.",
        worst_beat=hearing.plan.entry_beat,
    )


def step_at(hearing: Listened, beat: float, after: Tones | None = None) -> float:
    """Distance from the notes just before a beat to those just after, NaN where unclear.

    What comes after is told from other tones where they are given. Rests in between are bridged;
    the distance fades with their length, as memory does [F16]_.
    """
    window_beats = float(WINDOW_BARS * hearing.metre)
    old, old_gap_s = _place_towards(hearing, hearing.tones, beat, -window_beats)
    new, new_gap_s = _place_towards(hearing, after or hearing.tones, beat, window_beats)
    if old is None or new is None:
        return float("nan")
    kept = max(0.0, 1.0 - (old_gap_s + new_gap_s) / MEMORY_S)
    return float(np.linalg.norm(new - old)) * kept


def _place_towards(
    hearing: Listened, tones: Tones, beat: float, reach: float
) -> tuple[Floats | None, float]:
    """Place of the nearest clear stretch on one side, and the gap to it."""
    at_s = hearing.plan.seconds_at(beat)
    while 0.0 <= beat <= hearing.plan.end_beat:
        ends = sorted((hearing.plan.seconds_at(beat), hearing.plan.seconds_at(beat + reach)))
        heard = (tones.times_s >= ends[0]) & (tones.times_s < ends[1])
        heard &= tones.chroma.sum(axis=1) > 0
        chroma = tones.mean_chroma(*ends)
        if heard.sum() >= _LEAST_STEPS and clarity(interval_vector(chroma)) >= CLEAR_SHARE:
            gap_s = float(np.abs(tones.times_s[heard] - at_s).min())
            return _place_of(chroma), gap_s
        beat += np.sign(reach) * 4.0
    return None, 0.0


def _place_of(chroma: Floats) -> Floats:
    """Where chroma lies, by its notes [B16]_ and by the keys that it states [KK82]_.

    Notes tell how much changes, and keys what it makes of what was home. Both together rank keys
    as published distances do, better than either alone.
    """
    both = (interval_vector(chroma), _KEYS_TO_NOTES * key_place(chroma))
    return np.asarray(np.concatenate(both) / np.sqrt(len(both)))


def _detour(hearing: Listened, first: float, last: float) -> float:
    """Length of the way bar by bar against the straight line (or one near step, if longer)."""
    plan = hearing.plan
    places = []
    for beat in np.arange(first - 4.0, last + 4.0 + 1e-9, 4.0):
        ends = plan.seconds_at(beat - 8.0), plan.seconds_at(beat + 8.0)
        chroma = hearing.tones.mean_chroma(*ends)
        if clarity(interval_vector(chroma)) >= CLEAR_SHARE:
            places.append(_place_of(chroma))
    if len(places) < 2:  # noqa: PLR2004 - a way has two ends
        return 1.0
    length = sum(float(np.linalg.norm(b - a)) for a, b in pairwise(places))
    return length / max(float(np.linalg.norm(places[-1] - places[0])), FAR_STEP)


def _path_measure(longest: float, detour: float, beat: float, sentence: str) -> Measure:
    score = 0.75 * falling(longest, good=NEAR_STEP, bad=FAR_STEP)
    score += 0.25 * falling(detour, good=2.0, bad=6.0)
    return measured(
        "tonal_path",
        value=longest,
        score=score,
        threshold=_IN_KEYS,
        sentence=sentence,
        worst_beat=beat,
    )


def _step_words(step: float) -> str:
    if step <= NEAR_STEP:
        return "a near step"
    return "a leap" if step >= FAR_STEP else "a clear step"


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
    return measured(
        "cadence",
        value=share,
        score=WITHOUT + (1.0 - WITHOUT) * share,
        threshold=f"1 is a leading chord up to bar one; without one {WITHOUT:g} is left",
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
