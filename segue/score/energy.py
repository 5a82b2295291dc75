"""What a bridge is for: which way it drives, how full it is, and its room for words.

Loudness, low end, density of onsets and brightness of the bridge, each against the two songs next
to it, and what they should do for the purpose: rise into bar one for a lift, stay level for
dancing, fall for calm, leave room for a voice in a talk. Loudness drives felt arousal causally
[Dea11]_. Listeners want speech at least 10 LU above music behind it [TS19]_, and accessible media
20 dB [G56]_; a speaker on a stage lies a few LU below the songs. So a bed belongs 12 to 16 LU
below the songs, steady, thin where consonants are, with few attacks.

References
----------
.. [Dea11] R. Dean, F. Bailes and E. Schubert, "Acoustic intensity causes perceived changes in
   arousal levels in music", PLoS ONE 6(4), 2011.
.. [TS19] M. Torcoli and others, Journal of the Audio Engineering Society 67(12), 2019: levels of
   music under speech that listeners to television prefer.
.. [G56] W3C, Web Content Accessibility Guidelines 2, technique G56.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.score.bridge import CALM_HITS_A_S, LEAST_BRIDGE_S
from segue.score.level_steps import songs_lufs
from segue.score.scorecard import Measure, NotMeasured, falling, measured, not_measured, rising

if TYPE_CHECKING:
    from segue.score.listening_to import Listened
    from segue.score.weights import Purpose

# fmt: off
FULL_LU: Final[dict[Purpose | None, tuple[float, float]]] = {
    None: (-3.0, 4.5), "lift": (-2.0, 6.0), "calm": (-1.0, 9.0), "dance": (-3.0, 3.5)}
"""The bridge below the quieter song: from, to. Within 6 LU it is inside the songs' own
breathing."""
# fmt: on
BED_LU: Final = (12.0, 17.0)
"""Below the songs: speech at some 4 LU below them is then 8 to 13 LU above the bed."""
SPEECH_HZ: Final = (1_000.0, 4_000.0)  # where consonants are told apart
_CUE_BARS: Final = 2  # the bed comes up in these last bars, which call the singer
_STEADY_LU: Final = (2.0, 7.0)  # spread of the loudness of a bed: fine, and not; by judgement
_HITS: Final = (2.0, 7.0)  # attacks a second under words: fine, and not; by judgement
_MID_DB: Final = (0.0, 9.0)
"""1 to 4 kHz of the bed, as a share of it, above the songs' own: fine, and in the way."""


def drive(hearing: Listened) -> Measure | NotMeasured | None:
    """Whether the bridge goes where the purpose wants it; nothing is asked of a talk bed."""
    bridge, plan = hearing.bridge, hearing.plan
    if hearing.aim == "talk" or hearing.is_silent:
        return None
    if bridge.length_s < LEAST_BRIDGE_S:
        return not_measured("drive", why="the bridge is too short to go anywhere")
    value, score, sentence, threshold = _drive_for(hearing)
    return measured(
        "drive",
        value=value,
        score=score,
        threshold=threshold,
        sentence=sentence,
        worst_beat=(plan.exit_beat + plan.entry_beat) / 2.0
        if hearing.aim
        else max(plan.entry_beat - 1.0, plan.exit_beat),
    )


def _drive_for(hearing: Listened) -> tuple[float, float, str, str]:
    """Value, mark, sentence and threshold of the drive for the purpose."""
    bridge = hearing.bridge
    rise = bridge.rise_lu
    way = f"{abs(rise):.1f} LU {'louder' if rise >= 0 else 'softer'}"
    match hearing.aim:
        case "lift":
            other = max(np.log2(max(bridge.brighter, 0.1)), np.log2(max(bridge.denser, 0.1)))
            told = "It lifts" if bridge.lifts else "It does not lift"
            return (
                rise,
                0.5 * rising(rise, bad=-4.0, good=7.0)
                + 0.2 * rising(rise, bad=-16.0, good=-4.0)
                # brighter or denser is no lift where it dies away: loudness comes first [Dea11]_
                + 0.3
                * rising(float(other), bad=-0.3, good=0.8)
                * rising(rise, bad=-12.0, good=-4.0),
                (
                    f"{told}: it ends {way}, {bridge.brighter:.1f} times as bright and "
                    f"{bridge.denser:.1f} times as dense as it begins."
                ),
                "louder by 4 LU, brighter and denser by a third: two of the three",
            )
        case "calm":
            score = 0.5 * falling(rise, good=1.0, bad=7.0)
            score += 0.5 * falling(bridge.onsets_a_s, good=CALM_HITS_A_S, bad=2 * CALM_HITS_A_S)
            told = "It calms" if score > _GOOD else "It does not calm"
            return (
                rise,
                score,
                f"{told}: it ends {way} than it begins, {bridge.onsets_a_s:.1f} hits a second.",
                f"no louder than it begins, up to {CALM_HITS_A_S:g} hits a second",
            )
        case "dance":
            sag = max(float(-min(bridge.curve_lu)), 0.0)
            told = "It keeps going" if sag <= _SAG_LU else "It lets the floor go"
            return (
                sag,
                falling(sag, good=_SAG_LU, bad=14.0),
                f"{told}: at its thinnest {sag:.1f} LU below the songs.",
                f"never more than {_SAG_LU:g} LU below the songs",
            )
        case _:
            told = "It leads on" if bridge.dip_lu <= _SAG_LU else "It sags before bar one"
            return (
                bridge.dip_lu,
                falling(bridge.dip_lu, good=3.0, bad=12.0),
                f"{told}, in its last second softer by up to {bridge.dip_lu:.1f} LU."
                if bridge.dip_lu >= _EVEN_LU
                else f"{told}: no dip in its last second.",
                "up to 3 LU softer in the last second before bar one",
            )


_GOOD: Final = 0.75  # a mark from which a purpose is said to be met; by judgement
_SAG_LU: Final = 4.0  # the songs' own breathing
_EVEN_LU: Final = 0.5  # less is told as nothing


def fullness(hearing: Listened) -> Measure | NotMeasured | None:
    """How full the bridge is, against the songs; a talk bed is judged by its room for words."""
    bridge = hearing.bridge
    if hearing.aim == "talk" or hearing.is_silent:
        return None
    if bridge.length_s < LEAST_BRIDGE_S:
        return not_measured("fullness", why="there is hardly a bridge")
    low_lu, high_lu = FULL_LU[hearing.aim]
    off = max(low_lu - bridge.below_lu, bridge.below_lu - high_lu, 0.0)
    thin_db = _low_end_lost_db(hearing)
    score = 0.5 * falling(off, good=0.0, bad=9.0)
    score += 0.3 * falling(thin_db, good=6.0, bad=24.0)
    score += 0.2 * falling(abs(bridge.air_db), good=4.0, bad=14.0)
    side = "softer" if bridge.below_lu >= 0 else "louder"
    found = [f"{abs(bridge.below_lu):.1f} LU {side} than the quieter song"]
    if abs(bridge.below_lu) < _EVEN_LU:
        found = ["as loud as the quieter song"]
    if thin_db > _THIN_DB:
        found.append("without the songs' low end")
    if abs(bridge.air_db) > _AIR_DB:
        found.append("duller" if bridge.air_db < 0 else "harsher")
    plan = hearing.plan
    return measured(
        "fullness",
        value=bridge.below_lu,
        score=score,
        threshold=f"{-high_lu:+g} to {-low_lu:+g} LU against the quieter song, its low end and air",
        sentence=f"The bridge is {', '.join(found)}.",
        worst_beat=(plan.exit_beat + plan.entry_beat) / 2.0,
    )


_THIN_DB, _AIR_DB = 9.0, 5.0
"""More low end lost, or air unlike the songs' by more, is said in words. Set by judgement."""
_LOW_HZ: Final = 150.0  # below lie kick and bass


def _low_end_lost_db(hearing: Listened) -> float:
    """How far the low end of the bridge lies below that of the song that has less of it."""
    bridge_s = hearing.exit_s + 0.3, hearing.entry_s - 0.2
    inside, old, new = (
        hearing.room.band_level_db(*span, 0.0, _LOW_HZ) for span in (bridge_s, *hearing.songs_s)
    )
    return max(min(old, new) - inside, 0.0)


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
    return measured(
        "speech_level",
        value=below,
        score=score,
        threshold=f"{low:g} to {high:g} LU below the songs, and steady",
        sentence=sentence,
        worst_beat=hearing.plan.beat_at(sum(_bed_span_s(hearing)) / 2),
    )


def speech_room(hearing: Listened) -> Measure | None:
    """How free the bed is where words are: mid band and attacks; None unless somebody talks."""
    if hearing.aim != "talk" or hearing.is_silent:
        return None
    low_s, high_s = _bed_span_s(hearing)
    songs_db = float(np.mean([_mid_share_db(hearing, *span) for span in hearing.songs_s]))
    mid_db = _mid_share_db(hearing, low_s, high_s) - songs_db
    hits = hearing.bridge.onsets_a_s
    score = 0.6 * falling(mid_db, good=_MID_DB[0], bad=_MID_DB[1])
    score += 0.4 * falling(hits, good=_HITS[0], bad=_HITS[1])
    in_way = []
    if mid_db > (_MID_DB[0] + _MID_DB[1]) / 3:
        in_way.append(f"{mid_db:.0f} dB more of it lies where words are than in the songs")
    if hits > _HITS[0]:
        in_way.append(f"{hits:.1f} attacks a second")
    return measured(
        "speech_room",
        value=mid_db,
        score=score,
        threshold="no more of it at 1 to 4 kHz than of the songs, up to 2 attacks a second",
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
    return measured(
        "talk_length",
        value=there_s,
        score=score,
        threshold="as long as was wished, up to half as long again",
        sentence=f"Too short: {fits}." if share > 0.05 else f"{fits}.",  # noqa: PLR2004 - rounding
        worst_beat=plan.entry_beat if short_s > 0 else None,
    )
