"""How the new key arrives before the entry, and how the old one goes.

Whether a chord that leads home is heard before bar one.

References
----------
.. [KK82] C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in
   perceived tonal organization in a spatial representation of musical keys",
   Psychological Review 89(4), 1982, 334-368.
.. [F16] M. M. Farbood, "Memory of a tonal center after modulation", Music
   Perception 34(1), 2016, 71-93.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.music.key import N_PITCH_CLASSES, Key
from segue.score.scorecard import Measure, rising
from segue.score.tones import CLEAR_SHARE, HOP_S, clarity, interval_vector, key_fit, scale_share

if TYPE_CHECKING:
    from segue.score.listening_to import Listened


_LEADING: Final[dict[str, dict[str, tuple[int, ...]]]] = {
    "major": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 9, 0)},
    "minor": {"dominant": (7, 11, 2), "dominant seventh": (7, 11, 2, 5), "subdominant": (5, 8, 0)},
}
"""Chords that lead home, authentic and plagal, in semitones above the tonic of each mode."""
WITHOUT: Final = 0.5
"""Score without any chord that leads: many a good way across does without. Set by judgement."""
_NONE: Final = -0.1  # lead at which no chord leads home
_PLAIN: Final = 0.02
"""Lead of the best leading chord over the best other triad, in cosine: none, and plain."""
# Share of the last bar's weight from which a chord is said to lead; by judgement
_MOSTLY: Final = 0.6
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
    share = sum(weight * rising(lead, bad=_NONE, good=_PLAIN) for weight, lead, *_ in heard) / total
    lead, name, beat = max(entry[1:] for entry in heard)
    worst = min(heard, key=lambda entry: entry[1])[3]
    how = "leads" if share > _MOSTLY else "leads only in part"
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
        worst_beat=beat if share > _MOSTLY else worst,
    )


def _lead_at(hearing: Listened, beat: float) -> tuple[float, str, float] | None:
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


Floats = npt.NDArray[np.float64]

COMFORTABLE_S: Final = 8.0
"""Seconds of the new key that weaken the old one well: it decays over 20 s [F16]_."""
EVIDENCE_MEMORY_S: Final = 3.0
"""Time constant: a new key rises over two or three chords [KK82]_."""
_OLD_KEY_MEMORY_S: Final = 4.0  # time constant of what is left of the old key; by judgement
_CLEAR_FIT: Final = 0.45
"""Correlation with the profile of the new key from which it counts as clear."""
_LEAD: Final = 0.03  # and so much better than the old key; by judgement
_FAIR_FIT: Final = 0.25  # a fit that is enough where `_FAR_LEAD` holds
_FAR_LEAD: Final = 0.35
"""Enough where the old key is that much further off. Set by judgement on the demo songs."""
_KEPT_MEMORY_S: Final = 1.5  # time constant of what keeps a key: about a bar; by judgement
_KEPT_SHARE: Final = 0.8
"""Share of what sounds that lies in the scale of a key that was clear and still is, whatever chord
of it is played. Chosen by the score benchmark."""
_CLOUDED_SHARE: Final = 0.75
"""The same where the key is still stated by what is remembered. Chosen by the score benchmark."""
_BRIDGED_S: Final = 1.0
"""A passing chord this long does not end a key. Set by judgement."""
CUE_WORTH_S: Final = 4.0
"""A cue note gives the pitch at once but not the key: it counts for this much at most. By ear."""
_STRONGER: Final = -0.5  # lead at which the old key is still the stronger; by ear
_GONE: Final = 0.2
"""Lead of the new key over the old, in shares of the way, from which the old is gone. By ear:
a cadence on the dominant keeps a sane segue near 0."""
_SOURCE: Final = "Krumhansl & Kessler 1982 (profiles), Farbood 2016 (decay of the old key)"


def clear_since_s(hearing: Listened, until_s: float) -> float:
    """Since when, up to a time, the new key has been clear without a long break.

    A key becomes clear by its profile, and stays so while what is played lies in its scale: a
    dominant is part of its key, though its notes alone fit others better.
    """
    is_clear = _is_clear(hearing)[hearing.tones.times_s < until_s]
    since, missed = len(is_clear), 0
    for step in range(len(is_clear) - 1, -1, -1):
        missed = 0 if is_clear[step] else missed + 1
        if missed * HOP_S > _BRIDGED_S:
            break
        if is_clear[step]:
            since = step
    return until_s - (len(is_clear) - since) * HOP_S


def _is_clear(hearing: Listened) -> npt.NDArray[np.bool_]:
    """Steps of `tones` in which the new key is clear: it has become so, or has stayed so.

    What has become clear stays so while what is played lies in its scale; under drums, which
    sound at every pitch, while most of it does and what is remembered still states the key.
    """
    established, kept = _is_established(hearing), _is_kept(hearing, _KEPT_SHARE)
    holds = kept | (established & _is_kept(hearing, _CLOUDED_SHARE))
    is_clear = np.zeros(len(established), dtype=np.bool_)
    for step in range(len(established)):
        was_clear = step > 0 and is_clear[step - 1]
        is_clear[step] = holds[step] if was_clear else kept[step] and established[step]
    return is_clear


def _is_established(hearing: Listened) -> npt.NDArray[np.bool_]:
    """Whether what is remembered states the new key, in its mode, step by step.

    It fits well and better than the old key, or fairly well and far better than the old, as a
    turnaround of the new key does chord by chord.
    """
    plan = hearing.plan
    heard = hearing.tones.remembered(EVIDENCE_MEMORY_S)
    new = key_fit(heard, plan.key_to)
    is_mode = new >= key_fit(heard, _parallel(plan.key_to))
    if plan.key_from == plan.key_to:
        return np.asarray((new >= _CLEAR_FIT) & is_mode)
    old = key_fit(heard, plan.key_from)
    is_clear = (new >= _CLEAR_FIT) & (new >= old + _LEAD)
    is_clear |= (new >= _FAIR_FIT) & (new >= old + _FAR_LEAD)
    return np.asarray(is_clear & is_mode)


def _parallel(key: Key) -> Key:
    return Key(tonic=key.tonic, mode="minor" if key.mode == "major" else "major")


def _is_kept(hearing: Listened, least_share: float) -> npt.NDArray[np.bool_]:
    """What is played lies in the scale of the new key, at least as much as in that of the old."""
    plan = hearing.plan
    heard = hearing.tones.remembered(_KEPT_MEMORY_S)
    inside = scale_share(heard, plan.key_to)
    is_kept = inside >= least_share
    if plan.key_from != plan.key_to:
        is_kept &= inside >= scale_share(heard, plan.key_from) - _LEAD
    return np.asarray(is_kept)


_TOLD_S: Final = 0.05  # less is told as nothing: it would be printed as 0.0


def key_arrival(hearing: Listened) -> Measure:
    """Seconds of clear new key before bar one."""
    plan = hearing.plan
    since_s = clear_since_s(hearing, hearing.entry_s)
    seconds = hearing.entry_s - since_s
    bars = (plan.entry_beat - plan.beat_at(since_s)) / hearing.metre
    length = f"clear for {seconds:.1f} s ({bars:.1f} bars)" if seconds >= _TOLD_S else "not clear"
    return Measure(
        name="key_arrival",
        label="key arrival",
        value=seconds,
        unit="s",
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
        source=_SOURCE,
        sentence=(
            f"{plan.key_to} is {length} before bar one; {COMFORTABLE_S:g} s or more is comfortable."
        ),
        worst_beat=plan.entry_beat,
    )


def old_key(hearing: Listened) -> Measure | None:
    """How far the old key has given way just before the entry; None between equal keys."""
    plan = hearing.plan
    if plan.key_from == plan.key_to:
        return None
    share = _share_of_way(hearing, plan.key_from, plan.key_to)
    words = "has given way" if share > 0.0 else "still lingers"
    if share <= _STRONGER:
        words = "is still stronger"
    return Measure(
        name="old_key",
        label="old key gone",
        value=share,
        unit="",
        score=rising(share, bad=_STRONGER, good=_GONE),
        threshold="1 is the new key alone, -1 the old key alone",
        source=_SOURCE,
        sentence=f"Just before bar one, {plan.key_from} {words}.",
        worst_beat=plan.entry_beat,
    )


def runway(hearing: Listened) -> Measure | None:
    """Seconds of clear new key before the singer, or of a cue note's worth; None without one."""
    plan = hearing.plan
    if plan.singer_beat is None:
        return None
    singer_s = plan.seconds_at(plan.singer_beat)
    since_s = clear_since_s(hearing, singer_s)
    cues_s = [singer_s - plan.seconds_at(note.start_beat) for note in plan.cue]
    cue_s = min(max([0.0, *cues_s]), CUE_WORTH_S)
    seconds = max(singer_s - since_s, cue_s)
    sentence = f"The singer hears {plan.key_to} for {singer_s - since_s:.1f} s before coming in"
    if seconds > singer_s - since_s:
        sentence += ", and a cue note gives the pitch"
    return Measure(
        name="runway",
        label="singer's runway",
        value=seconds,
        unit="s",
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
        source=_SOURCE,
        sentence=f"{sentence}; {COMFORTABLE_S:g} s or more is comfortable.",
        worst_beat=plan.singer_beat,
    )


def _share_of_way(hearing: Listened, old: Key, new: Key) -> float:
    """How much better what is remembered at the entry fits the new key, 1 where all the way."""
    step = max(int(np.searchsorted(hearing.tones.times_s, hearing.entry_s)) - 1, 0)
    chroma = hearing.tones.remembered(_OLD_KEY_MEMORY_S)[step]
    if clarity(interval_vector(chroma / max(float(chroma.sum()), 1e-9))) < CLEAR_SHARE:
        return -1.0
    margin = float(key_fit(chroma, new) - key_fit(chroma, old))
    return float(np.clip(margin / _full_margin(old, new), -1.0, 1.0))


def _full_margin(old: Key, new: Key) -> float:
    from segue.music.tonal_space import krumhansl_distance

    return krumhansl_distance(old, new)
