"""Room for words: a bed that somebody talks over.

Listeners want speech at least 10 LU above music behind it [TS19]_, and accessible media 20 dB
[G56]_; a speaker on a stage lies a few LU below the songs. So a bed belongs 12 to 16 LU below the
songs, steady, thin where consonants are, with few attacks.

References
----------
.. [TS19] M. Torcoli and others, Journal of the Audio Engineering Society 67(12), 2019: levels of
   music under speech that listeners to television prefer.
.. [G56] W3C, Web Content Accessibility Guidelines 2, technique G56.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.score.bridge import AROUND_S
from segue.score.energy import songs_lufs
from segue.score.scorecard import Measure, falling

if TYPE_CHECKING:
    from segue.score.listening_to import Listened

BED_LU: Final = (12.0, 17.0)
"""Below the songs: speech at some 4 LU below them is then 8 to 13 LU above the bed."""
SPEECH_HZ: Final = (1_000.0, 4_000.0)  # where consonants are told apart
_CUE_BARS: Final = 2  # the bed comes up in these last bars, which call the singer
_SOURCE: Final = "Torcoli et al. 2019 (10 LU under speech), WCAG 2 technique G56 (20 dB)"
_STEADY_LU: Final = (2.0, 7.0)  # spread of the loudness of a bed: fine, and not; by judgement
_HITS: Final = (2.0, 7.0)  # attacks a second under words: fine, and not; by judgement
_MID_DB: Final = (0.0, 9.0)
"""1 to 4 kHz of the bed, as a share of it, above the songs' own: fine, and in the way."""


def _bed_span_s(hearing: Listened) -> tuple[float, float]:
    """The bed from where it has sunk to where it comes up again."""
    plan, metre = hearing.plan, hearing.metre
    start = min(plan.exit_beat + metre / 2, plan.entry_beat)
    end = max(plan.entry_beat - _CUE_BARS * metre, start + (plan.entry_beat - start) / 2)
    return plan.seconds_at(start), plan.seconds_at(end)


def speech_level(hearing: Listened) -> Measure | None:
    """Level of the bed below the songs, and how steady it is; None unless somebody talks."""
    if hearing.aim != "talk" or hearing.is_silent:
        return None
    # a speaker is set to the evening, and not to a song that starts softly
    songs = 10.0 * np.log10(np.mean(10.0 ** (np.array(songs_lufs(hearing)) / 10.0)))
    inside = hearing.room.level.part(*_bed_span_s(hearing))
    below = float(songs - np.median(inside)) if len(inside) else 0.0
    spread = float(np.std(np.maximum(inside, np.median(inside) - 12.0))) if len(inside) else 0.0
    low, high = BED_LU
    off = max(low - below, below - high, 0.0)
    score = falling(off, good=0.0, bad=9.0)
    score *= 0.6 + 0.4 * falling(spread, good=_STEADY_LU[0], bad=_STEADY_LU[1])
    if below < low:
        sentence = (
            f"Too loud to talk over: {below:.1f} LU below the songs; {low:g} to {high:g} fit."
        )
    elif below > high:
        sentence = f"Nearly silent: {below:.1f} LU below the songs; {low:g} to {high:g} fit."
    elif spread > _STEADY_LU[1] / 2:
        sentence = f"The bed is uneven (by {spread:.1f} LU)."
    else:
        sentence = f"Lies well under words: {below:.1f} LU below the songs."
    return Measure(
        name="speech_level",
        label="level under words",
        value=below,
        unit="LU",
        score=score,
        threshold=f"{low:g} to {high:g} LU below the songs, and steady",
        source=_SOURCE,
        sentence=sentence,
        worst_beat=hearing.plan.beat_at(sum(_bed_span_s(hearing)) / 2),
    )


def speech_room(hearing: Listened) -> Measure | None:
    """How free the bed is where words are: mid band and attacks; None unless somebody talks."""
    if hearing.aim != "talk" or hearing.is_silent:
        return None
    low_s, high_s = _bed_span_s(hearing)
    spans = (
        (hearing.exit_s - AROUND_S, hearing.exit_s),
        (hearing.entry_s, hearing.entry_s + AROUND_S),
    )
    songs_db = float(np.mean([_mid_share_db(hearing, *span) for span in spans]))
    mid_db = _mid_share_db(hearing, low_s, high_s) - songs_db
    hits = hearing.bridge.onsets_a_s
    score = 0.6 * falling(mid_db, good=_MID_DB[0], bad=_MID_DB[1])
    score += 0.4 * falling(hits, good=_HITS[0], bad=_HITS[1])
    in_way = []
    if mid_db > (_MID_DB[0] + _MID_DB[1]) / 3:
        in_way.append(f"{mid_db:.0f} dB more of it lies where words are than in the songs")
    if hits > _HITS[0]:
        in_way.append(f"{hits:.1f} attacks a second")
    return Measure(
        name="speech_room",
        label="room for words",
        value=mid_db,
        unit="dB",
        score=score,
        threshold="no more of it at 1 to 4 kHz than of the songs, up to 2 attacks a second",
        source="set by judgement",
        sentence=f"In the way of words: {', '.join(in_way)}." if in_way else "Words have room.",
        worst_beat=hearing.plan.beat_at((low_s + high_s) / 2),
    )


def _mid_share_db(hearing: Listened, low_s: float, high_s: float) -> float:
    room = hearing.room
    mid = room.band_level_db(low_s, high_s, *SPEECH_HZ)
    return mid - room.band_level_db(low_s, high_s, 0.0, float("inf"))


def talk_length(hearing: Listened) -> Measure | None:
    """How much of the talk fits between the songs; None where no length was wished."""
    plan = hearing.plan
    if hearing.aim != "talk" or plan.talk_s is None:
        return None
    there_s = hearing.entry_s - hearing.exit_s
    short_s = plan.talk_s - there_s
    over_s = there_s - plan.talk_s
    share = max(short_s, 0.0) / plan.talk_s
    score = falling(share, good=0.05, bad=0.5)
    if over_s > 0:
        score *= falling(over_s / plan.talk_s, good=0.6, bad=3.0)
    fits = f"{there_s:.0f} s for {plan.talk_s:.0f} s of talk"
    return Measure(
        name="talk_length",
        label="time for words",
        value=there_s,
        unit="s",
        score=score,
        threshold="as long as was wished, up to half as long again",
        source="set by judgement",
        sentence=f"Too short: {fits}." if share > 0.05 else f"{fits}.",  # noqa: PLR2004 - rounding
        worst_beat=plan.entry_beat if short_s > 0 else None,
    )
