"""How loud the two songs and what lies between them are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.plan.grid import SAME_BEAT
from segue.plan.layer import Curve, CurvePoint

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import EdgeFacts
    from segue.analysis.structure_facts import BarFact
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import Level

TALK_LU: Final = -14.0
"""Under a talk that it was not written for, a bridge lies this far below the songs: some 10 LU
under a speaker who is a little softer than they (M. Torcoli and others, J. AES 67(12), 2019: at
least 10 LU)."""
CUE_LU: Final = -4.0
"""In the last bars it comes up to this, which calls the singer. Set by judgement."""
CUE_BARS: Final = 2  # common practice, no source


def bridge_curve(level: Level, time: Timeline, *, under_talk: bool) -> Curve:
    """Loudness of the bridge against the quieter song, in beats.

    Parameters
    ----------
    under_talk : bool
        Whether somebody talks over a bridge that was not written for it: then it lies far below
        the songs until the last bars.
    """
    entry, span = time.entry_beat, time.entry_beat - time.exit_beat
    rise = span if level.rise_bars < 0 else min(level.rise_bars * time.metre, span)
    low, high = level.exit_lu, level.entry_lu
    if under_talk:
        low, high = min(low, TALK_LU), min(high, CUE_LU)
        rise = min(CUE_BARS * time.metre, span)
    if rise < SAME_BEAT:
        return (CurvePoint(beat=time.exit_beat, value=low),)
    return (CurvePoint(beat=entry - rise, value=low), CurvePoint(beat=entry, value=high))


SOFT_LU: Final = 5.0
"""So far below itself, or below the old song, a song without drums starts softly: at two thirds of
the loudness (twice as loud every 9 to 10 dB: S. S. Stevens, "Perceived level of noise by Mark VII",
J. Acoust. Soc. Am. 51, 1972, from memory). By judgement."""
SOFT_BARS: Final = 2  # at the start of a song, by which it is told
_NO_DRUMS: Final = 0.25  # presence in the mean of some bars that is none; by judgement


def are_without_drums(bars: Sequence[BarFact]) -> bool:
    """Whether some bars are known, and nobody drums in them."""
    return bool(bars) and sum(bar.drums for bar in bars) / len(bars) < _NO_DRUMS


def starts_softly(outgoing: EdgeFacts, incoming: EdgeFacts) -> bool:
    """Whether the new song starts without drums and far below itself or the old song.

    There is no hit at bar one then: what runs up to one (a riser, a roll, an impact) promises what
    does not come (common practice, no source).
    """
    first = incoming.bars[:SOFT_BARS]
    if not are_without_drums(first):
        return False
    starts_lufs = max(bar.level_lufs for bar in first)
    songs = (incoming.level.loudness_lufs, outgoing.level.loudness_lufs)
    return starts_lufs <= max(songs) - SOFT_LU


TARGET_LUFS: Final = -16.0
"""Loudest level that a song is given: leaves room above for peaks, which stretching raises
by up to 6 dB, so that the limiter has almost nothing to do. Chosen on the demo songs."""

QUIETEST_LUFS: Final = -40.0
"""A song quieter than this (or silent) does not pull the other one down with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SongLevels:
    """Gains of the two songs, and the loudness that pads are measured against."""

    outgoing_gain_db: float
    incoming_gain_db: float
    target_lufs: float


def song_levels(outgoing: EdgeFacts, incoming: EdgeFacts, *, match: bool) -> SongLevels:
    """Levels of a pair: as they are in the set, or evened out.

    Parameters
    ----------
    match : bool
        Bring both to the loudness of the quieter one; else one gain for both,
        so that the step between them stays what it is in the set.

    Returns
    -------
    SongLevels
        No song is raised; the louder comes to `TARGET_LUFS` at most. Between
        songs of different loudness the target lies in the middle.
    """
    heard = [
        f.level.loudness_lufs for f in (outgoing, incoming) if f.level.loudness_lufs > QUIETEST_LUFS
    ]
    if match:
        target = min([TARGET_LUFS, *heard])
        return SongLevels(
            outgoing_gain_db=_gain_db(outgoing, target),
            incoming_gain_db=_gain_db(incoming, target),
            target_lufs=target,
        )
    gain_db = min([0.0, *(TARGET_LUFS - level for level in heard)])
    target = gain_db + sum(heard) / len(heard) if heard else TARGET_LUFS
    return SongLevels(outgoing_gain_db=gain_db, incoming_gain_db=gain_db, target_lufs=target)


def _gain_db(facts: EdgeFacts, target_lufs: float) -> float:
    loudness = facts.level.loudness_lufs
    return target_lufs - loudness if loudness > QUIETEST_LUFS else 0.0
