"""How the new key arrives before the entry, and how the old one goes.

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

from segue.score.scale import rising
from segue.score.scorecard import Measure
from segue.score.tones import CLEAR_SHARE, HOP_S, clarity, interval_vector, key_fit

if TYPE_CHECKING:
    from segue.music.key import Key
    from segue.score.hearing import Hearing

Floats = npt.NDArray[np.float64]

COMFORTABLE_S: Final = 8.0
"""Seconds of the new key that weaken the old one well: it decays over 20 s [F16]_."""
EVIDENCE_MEMORY_S: Final = 3.0
"""Time constant: a new key rises over two or three chords [KK82]_."""
_OLD_KEY_MEMORY_S: Final = 4.0
_CLEAR_FIT: Final = 0.45
"""Correlation with the profile of the new key from which it counts as clear."""
_LEAD: Final = 0.03
_FAIR_FIT: Final = 0.25
_FAR_LEAD: Final = 0.35
"""Enough where the old key is that much further off. Chosen by ear on the demo songs."""
_MOSTLY: Final = 0.7
"""Share of the steps since its arrival in which the new key is clear. Chosen by ear."""
_STRONGER: Final = -0.5
_GONE: Final = 0.2
"""Lead of the new key over the old, in shares of the way, from which the old is gone. By ear:
a cadence on the dominant keeps a sane segue near 0."""
_SOURCE: Final = "Krumhansl & Kessler 1982 (profiles), Farbood 2016 (decay of the old key)"


def clear_since_s(hearing: Hearing, until_s: float) -> float:
    """Since when, up to a time, the new key has been clear for most of the time.

    Clear is: fits the new key well and better than the old, or fairly well and far
    better than the old, as a turnaround of the new key does chord by chord.
    """
    plan, tones = hearing.plan, hearing.tones
    heard = tones.remembered(EVIDENCE_MEMORY_S)
    new, old = key_fit(heard, plan.key_to), key_fit(heard, plan.key_from)
    is_clear = new >= _CLEAR_FIT
    if plan.key_from != plan.key_to:
        is_clear &= new >= old + _LEAD
        is_clear |= (new >= _FAIR_FIT) & (new >= old + _FAR_LEAD)
    backwards = is_clear[tones.times_s < until_s][::-1]
    share = np.cumsum(backwards) / np.arange(1, len(backwards) + 1)
    fits = np.flatnonzero(backwards & (share >= _MOSTLY))
    return until_s - float(fits[-1] + 1) * HOP_S if len(fits) else until_s


def key_arrival(hearing: Hearing) -> Measure:
    """Seconds of clear new key before the entry."""
    plan = hearing.plan
    since_s = clear_since_s(hearing, hearing.entry_s)
    seconds = hearing.entry_s - since_s
    bars = (plan.entry_beat - plan.beat_at(since_s)) / hearing.metre
    return Measure(
        name="key_arrival",
        label="key arrival",
        value=seconds,
        unit="s",
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
        source=_SOURCE,
        sentence=(
            f"{plan.key_to} is clear for {seconds:.1f} s ({bars:.1f} bars) before the entry; "
            f"{COMFORTABLE_S:g} s or more is comfortable."
        ),
        worst_beat=plan.entry_beat,
    )


def old_key(hearing: Hearing) -> Measure | None:
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
        sentence=f"Just before the entry, {plan.key_from} {words}.",
        worst_beat=plan.entry_beat,
    )


def runway(hearing: Hearing) -> Measure | None:
    """Seconds from clear new key, or a cue note, to the singer; None if no singer is known."""
    plan = hearing.plan
    if plan.singer_beat is None:
        return None
    singer_s = plan.seconds_at(plan.singer_beat)
    since_s = clear_since_s(hearing, singer_s)
    cues_s = [plan.seconds_at(note.start_beat) for note in plan.cue]
    given_s = min([since_s, *(t for t in cues_s if t < singer_s)])
    seconds = singer_s - given_s
    what = f"{plan.key_to}" if given_s == since_s else "a cue note"
    return Measure(
        name="runway",
        label="singer's runway",
        value=seconds,
        unit="s",
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
        source=_SOURCE,
        sentence=(
            f"The singer hears {what} for {seconds:.1f} s before coming in; "
            f"{COMFORTABLE_S:g} s or more is comfortable."
        ),
        worst_beat=plan.singer_beat,
    )


def _share_of_way(hearing: Hearing, old: Key, new: Key) -> float:
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
