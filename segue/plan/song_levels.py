"""How loud the two songs and what lies between them are.

Room for the singer's voice: what plays in the interlude steps back while there is talk.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.plan.layer import Curve, CurvePoint, SongLayer
from segue.plan.shaping import summed

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan.layer import Layer
    from segue.plan.timeline import Timeline

TALK_DUCK_DB: Final = -14.0
"""What plays under a talk that it was not written for is brought down this much: with the few
decibels of its own below the songs, to 15 LU under them. Set by judgement."""


def ducked(layers: tuple[Layer, ...], time: Timeline) -> tuple[Layer, ...]:
    """The layers with everything but the songs themselves down for talk until the last bar."""
    duck = _duck(time)
    return tuple(
        layer
        if isinstance(layer, SongLayer) and (layer.start_beat < time.exit_beat - time.metre)
        else _lower(layer, duck, time)
        for layer in layers
    )


def _lower(layer: Layer, duck: Curve, time: Timeline) -> Layer:
    if layer.start_beat >= time.entry_beat - time.metre:
        return layer
    return replace(layer, gain_db=summed(layer.gain_db, duck))


def _duck(time: Timeline) -> Curve:
    """Down within half a bar from the exit, up again over the first half of the last bar."""
    half = time.metre / 2
    last_bar = time.entry_beat - time.metre
    return (
        CurvePoint(beat=time.exit_beat, value=0.0),
        CurvePoint(beat=time.exit_beat + half, value=TALK_DUCK_DB),
        CurvePoint(beat=last_bar, value=TALK_DUCK_DB),
        CurvePoint(beat=last_bar + half, value=0.0),
    )


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
