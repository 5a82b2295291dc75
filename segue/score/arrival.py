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

from segue.music.chord import tonic_triad
from segue.music.key import Key
from segue.music.tonal_space import krumhansl_distance
from segue.score.scorecard import Measure, measured, rising
from segue.score.tonal import LEADS_NOT, LEADS_PLAINLY, MOSTLY, chord_leads, leading_chords
from segue.score.tones import CLEAR_SHARE, HOP_S, clarity, interval_vector, key_fit, scale_share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Floats
    from segue.score.listening_to import Listened


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
_FIT_BLUR, _SHARE_BLUR = 0.05, 0.03
"""To either side of a limit a key is clear in part: how the notes of a chord lie moves fits by up
to 0.05 and shares by 0.03, and a key that is just clear is just clear. Chosen by the score
benchmark."""
_BRIDGED_S: Final = 1.0
"""A passing chord this long does not end a key. Set by judgement."""
CUE_WORTH_S: Final = 4.0
"""A cue note gives the pitch at once but not the key: it counts for this much at most. By ear."""
_STRONGER: Final = -0.5  # lead at which the old key is still the stronger; by ear
_GONE: Final = 0.05
"""Lead of the new key over the old, in shares of the way, from which the old is gone. By ear: a
cadence on the dominant keeps a sane segue near 0, and the tonic itself, which is no better, moves
it to 0.3."""


def clear_since_s(hearing: Listened, until_s: float) -> float:
    """Since when, up to a time, the new key has been clear without a long break.

    A key becomes clear by its profile, and stays so while what is played lies in its scale: a
    dominant is part of its key, though its notes alone fit others better. Where it is clear in
    part, so is the time counted: half as long where it is half clear.
    """
    from scipy.ndimage import grey_closing

    starts_s = hearing.tones.times_s - HOP_S / 2
    before = starts_s < until_s
    if not before.any():
        return until_s
    clear = _clearness(hearing)[before]
    n_bridged = round(_BRIDGED_S / HOP_S)
    bridged = grey_closing(np.append(clear, 1.0), size=(n_bridged + 1,), mode="nearest")[:-1]
    lasting = np.minimum.accumulate(bridged[::-1])[::-1]
    return until_s - float(lasting @ np.minimum(until_s - starts_s[before], HOP_S))


def _clearness(hearing: Listened) -> Floats:
    """How clear the new key is in each step of `tones`, 0..1: it has become so, or stayed so.

    What has become clear stays so while what is played lies in its scale, is its tonic, or leads
    home, though overtones of a dominant lie outside; under drums, which sound at every pitch, while
    most of it lies there and what is remembered still states the key. A chord that leads home and
    is the tonic of the old key holds it for a while. "And" is the smaller, "or" the larger of two
    (L. A. Zadeh, "Fuzzy sets", Information and Control 8(3), 1965).
    """
    established, kept = _established(hearing), _kept(hearing, _KEPT_SHARE)
    holds = np.maximum(kept, np.minimum(established, _kept(hearing, _CLOUDED_SHARE)))
    chords, old_tonic = _home_chords(hearing.plan.key_to), _tonic_notes(hearing.plan.key_from)
    leads = _led_by(hearing, [chord for chord in chords if chord != old_tonic])
    as_old = _led_by(hearing, [chord for chord in chords if chord == old_tonic])
    holds, becomes = np.maximum(holds, leads), np.minimum(kept, established)
    clear = np.zeros(len(established))
    for step in range(len(clear)):
        before = clear[step - 1] if step else 0.0
        fading = min(as_old[step], before * np.exp(-HOP_S / _OLD_TONIC_S))
        clear[step] = max(becomes[step], min(holds[step], before), fading)
    return clear


def _established(hearing: Listened) -> Floats:
    """How surely what is remembered states the new key, in its mode, step by step.

    It fits well and better than the old key, or fairly well and far better than the old, as a
    turnaround of the new key does chord by chord.
    """
    plan = hearing.plan
    heard = hearing.tones.remembered(EVIDENCE_MEMORY_S)
    new = key_fit(heard, plan.key_to)
    is_mode = _above(new - key_fit(heard, _parallel(plan.key_to)), 0.0, _FIT_BLUR)
    fits = _above(new, _CLEAR_FIT, _FIT_BLUR)
    if plan.key_from == plan.key_to:
        return np.minimum(fits, is_mode)
    lead = new - key_fit(heard, plan.key_from)
    well = np.minimum(fits, _above(lead, _LEAD, _FIT_BLUR))
    far = np.minimum(_above(new, _FAIR_FIT, _FIT_BLUR), _above(lead, _FAR_LEAD, _FIT_BLUR))
    return np.minimum(np.maximum(well, far), is_mode)


def _above(values: Floats, limit: float, blur: float) -> Floats:
    """How surely values are at least a limit: 0 a blur below it, 1 a blur above, and a half on."""
    return np.clip((values - limit) / (2 * blur) + 0.5, 0.0, 1.0)


def _parallel(key: Key) -> Key:
    return Key(tonic=key.tonic, mode="minor" if key.mode == "major" else "major")


def _kept(hearing: Listened, least_share: float) -> Floats:
    """How surely what is played lies in the new key's scale, at least as much as in the old's."""
    plan = hearing.plan
    heard = hearing.tones.remembered(_KEPT_MEMORY_S)
    inside = scale_share(heard, plan.key_to)
    kept = _above(inside, least_share, _SHARE_BLUR)
    if plan.key_from == plan.key_to:
        return kept
    lead = inside - scale_share(heard, plan.key_from)
    return np.minimum(kept, _above(lead, -_LEAD, _SHARE_BLUR))


def _led_by(hearing: Listened, chords: Sequence[frozenset[int]]) -> Floats:
    """How surely one of some chords of the new key is heard, step by step."""
    if not chords:
        return np.zeros(len(hearing.tones.chroma))
    heard = hearing.tones.remembered(_CHORD_MEMORY_S)
    # drums sound at every pitch, and a chord of four notes would fit them best
    heard = np.maximum(heard - np.quantile(heard, _CLOUD, axis=1, keepdims=True), 0.0)
    heard /= np.maximum(heard.sum(axis=1, keepdims=True), 1e-9)
    clear = np.array([clarity(place) for place in interval_vector(heard)]) >= CLEAR_SHARE
    leads = chord_leads(heard, chords, own=_home_chords(hearing.plan.key_to)).max(axis=1)
    return np.asarray(clear * np.clip(leads / _LEADS_HEARD, 0.0, 1.0))


def _home_chords(key: Key) -> list[frozenset[int]]:
    return [_tonic_notes(key), *leading_chords(key).values()]


def _tonic_notes(key: Key) -> frozenset[int]:
    return frozenset(tonic_triad(key).pitch_classes)


_CLOUD: Final = 0.25  # share of the pitch classes that tell how much sounds at all of them
_LEADS_HEARD: Final = 0.05  # lead, in cosine, from which a chord is surely heard; by judgement
_CHORD_MEMORY_S: Final = 0.5  # time constant of a chord as heard: about a beat; by judgement
_OLD_TONIC_S: Final = 8.0  # so long the old tonic may pass for a chord of the new key; by judgement
_TOLD_S: Final = 0.5  # less is told as nothing: nobody hears a key in it; by judgement


def key_arrival(hearing: Listened) -> Measure:
    """Seconds of clear new key before bar one."""
    plan = hearing.plan
    since_s = clear_since_s(hearing, hearing.entry_s)
    seconds = hearing.entry_s - since_s
    bars = (plan.entry_beat - plan.beat_at(since_s)) / hearing.metre
    length = f"clear for {seconds:.1f} s ({bars:.1f} bars)" if seconds >= _TOLD_S else "not clear"
    return measured(
        "key_arrival",
        value=seconds,
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
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
    sentence = f"Just before bar one, {plan.key_from} {words}."
    led = _leads_as_old_tonic(hearing)
    if share < _GONE and led > 0.0:  # what leads on is not in the way
        share += led * (_GONE - share)
        if led > MOSTLY:
            sentence = f"The last chord is home in {plan.key_from} and leads to {plan.key_to}."
    return measured(
        "old_key",
        value=share,
        score=rising(share, bad=_STRONGER, good=_GONE),
        threshold="1 is the new key alone, -1 the old key alone",
        sentence=sentence,
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
    if singer_s - since_s < _TOLD_S:
        sentence = f"The singer comes in before {plan.key_to} is clear"
    if seconds > singer_s - since_s:
        sentence += ", and a cue note gives the pitch"
    return measured(
        "runway",
        value=seconds,
        score=rising(seconds, bad=0.0, good=COMFORTABLE_S),
        threshold=f"{COMFORTABLE_S:g} s or more is comfortable",
        sentence=f"{sentence}; {COMFORTABLE_S:g} s or more is comfortable.",
        worst_beat=plan.singer_beat,
    )


def _leads_as_old_tonic(hearing: Listened) -> float:
    """How surely the old tonic sounds in the last half bar where it leads to the new, 0..1."""
    plan = hearing.plan
    ends = plan.seconds_at(plan.entry_beat - hearing.metre / 2), hearing.entry_s
    chroma = hearing.tones.mean_chroma(*ends)
    leading = leading_chords(plan.key_to).values()
    chords = [chord for chord in leading if _tonic_notes(plan.key_from) <= chord]
    if not chords or clarity(interval_vector(chroma)) < CLEAR_SHARE:
        return 0.0
    found = chord_leads(chroma[np.newaxis], chords, own=chords)
    return rising(float(found.max()), bad=LEADS_NOT, good=LEADS_PLAINLY)


def _share_of_way(hearing: Listened, old: Key, new: Key) -> float:
    """How much better what is remembered at the entry fits the new key, 1 where all the way."""
    step = max(int(np.searchsorted(hearing.tones.times_s, hearing.entry_s)) - 1, 0)
    chroma = hearing.tones.remembered(_OLD_KEY_MEMORY_S)[step]
    if clarity(interval_vector(chroma / max(float(chroma.sum()), 1e-9))) < CLEAR_SHARE:
        return -1.0
    margin = float(key_fit(chroma, new) - key_fit(chroma, old))
    return float(np.clip(margin / krumhansl_distance(old, new), -1.0, 1.0))
