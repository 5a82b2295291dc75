"""Layers of the songs as they go on: which second of a file falls on which beat of the plan."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.audio.clip import VOICES
from segue.plan.grid import SAME_BEAT, beats_between
from segue.plan.layer import Curve, CurvePoint, MapPoint, SongLayer
from segue.plan.shaping import Planned, Setting, placed, shaping, span_of, value_at

if TYPE_CHECKING:
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer

LEAD_IN_S: Final = 0.1
"""Sound kept before beat 0, so that the first attack is whole. Set by judgement."""

BEFORE_ATTACK_S: Final = 0.02
"""How much of the incoming song is kept before its first sound: attacks begin before their beat."""

_SHORTEST_S: Final = 0.01
"""A lead-in, pick-up or ring shorter than this is none."""


def outgoing_map(
    layer: RecipeLayer, time: Timeline, start: float, end: float
) -> tuple[MapPoint, ...]:
    """The song's own beats as far as its music goes, then its ring, unstretched.

    Parameters
    ----------
    start, end : float
        Beats of the plan.

    Returns
    -------
    tuple of MapPoint
        Fewer than two where nothing of the song is left to play there.
    """
    grid, edge_end_s = time.outgoing.grid, time.outgoing.facts.edge_end_s
    # The file may stop before its bar does.
    over = min(float(time.outgoing.done_index), grid.index_at(edge_end_s))
    last_own = min(end, time.outgoing_beat_at(over))
    if start >= last_own - SAME_BEAT:
        rung_s = time.tempo.seconds_at(start) - time.tempo.seconds_at(last_own)
        points = [MapPoint(beat=start, source_s=grid.seconds_at(over) + rung_s)]
    else:
        points = [
            MapPoint(beat=beat, source_s=grid.seconds_at(time.outgoing_index_at(beat)))
            for beat in beats_between(start, last_own)
        ]
    if layer.start.anchor == "start" and layer.start.bars == 0:
        lead_s = min(LEAD_IN_S, points[0].source_s)
        if lead_s > _SHORTEST_S:
            points.insert(0, moved(points[0], -lead_s, time))
    ring_s = min(
        time.tempo.seconds_at(end) - time.tempo.seconds_at(points[-1].beat),
        edge_end_s - points[-1].source_s,
    )
    if end > points[-1].beat + SAME_BEAT and ring_s > _SHORTEST_S:
        points.append(moved(points[-1], ring_s, time))
    return tuple(points)


def incoming_map(
    layer: RecipeLayer, time: Timeline, start: float, end: float
) -> tuple[MapPoint, ...]:
    """The song's own beats from its entry on, with its pick-up before, unstretched.

    Parameters
    ----------
    start, end : float
        Beats of the plan; nothing but the pick-up sounds before the entry.

    Returns
    -------
    tuple of MapPoint
        Fewer than two where the span ends before the entry.
    """
    song = time.incoming
    first = max(start, time.entry_beat)
    if end <= first + SAME_BEAT:
        return ()
    points = [
        MapPoint(
            beat=beat, source_s=song.grid.seconds_at(song.entry_index + beat - time.entry_beat)
        )
        for beat in beats_between(first, end)
    ]
    if layer.start.anchor == "entry" and layer.start.bars <= 0:
        before_s = min(_before_s(time) + BEFORE_ATTACK_S, points[0].source_s)
        if before_s > _SHORTEST_S:
            points.insert(0, moved(points[0], -before_s, time))
    return tuple(points)


def pickup_beat(time: Timeline) -> float:
    """Beat of the plan on which the incoming song's first sound falls; the entry without pick-up.

    A fade is none: what is there plays on until it has come up. A pick-up that is longer than the
    interlude counts from the exit.
    """
    pickup_s = _pickup_s(time)
    if pickup_s <= BEFORE_ATTACK_S or time.incoming.fades_in:
        return time.entry_beat
    beat = time.tempo.beat_at(time.tempo.seconds_at(time.entry_beat) - pickup_s)
    return max(beat, time.exit_beat)


def moved(point: MapPoint, seconds: float, time: Timeline) -> MapPoint:
    """A key frame earlier or later by the same number of seconds in the plan and the song."""
    beat = time.tempo.beat_at(time.tempo.seconds_at(point.beat) + seconds)
    return MapPoint(beat=beat, source_s=point.source_s + seconds)


def _before_s(time: Timeline) -> float:
    """How long the song sounds before its entry: a pick-up, or what of a fade is hidden."""
    before_s = _pickup_s(time)
    if not time.incoming.fades_in:
        return before_s
    bridge_s = time.tempo.seconds_at(time.entry_beat) - time.tempo.seconds_at(time.exit_beat)
    return min(before_s, _MOST_HIDDEN * bridge_s)


_MOST_HIDDEN: Final = 0.75
"""A fade sounds under so much of the bridge at most, the old song's first. By judgement."""


def _pickup_s(time: Timeline) -> float:
    song = time.incoming
    return song.grid.seconds_at(song.entry_index) - song.grid.seconds_at(song.sound_index)


_YIELD_FADE_S: Final = 0.06
"""How fast the old song makes way for a pick-up. Set by judgement."""

_SINGS_OR_PLAYS_BASS: Final = VOICES | {"bass", "mix"}


def song_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A layer of the outgoing or incoming song, with its time map.

    A layer of the old song that may have a voice or a bass in it ends where the
    new song's pick-up begins, unless the recipe lets the two meet.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'outgoing' or 'incoming', played as the song goes on.
    """
    time = setting.time
    start, end = span_of(layer, time)
    if layer.source == "outgoing":
        points = outgoing_map(layer, time, start, end)
    else:
        points = incoming_map(layer, time, start, end)
    name = layer.name or f"{layer.source} song"
    if len(points) < 2 or points[-1].beat - points[0].beat < SAME_BEAT:  # noqa: PLR2004 - two ends
        return Planned(notes=(f"'{name}' is left out: there is no music for it at that place.",))
    planned = SongLayer(
        **shaping(layer, time, name=name),
        song="outgoing" if layer.source == "outgoing" else "incoming",
        start_beat=points[0].beat,
        end_beat=points[-1].beat,
        time_map=points,
        roles=layer.roles,
        part=layer.part,
        pitch_semitones=placed(layer.pitch_semitones, time),
        fade_in_s=layer.fade_in_s,
        fade_out_s=layer.fade_out_s,
    )
    return Planned(layers=(_yielding(planned, setting),))


def _yielding(layer: SongLayer, setting: Setting) -> SongLayer:
    beat = pickup_beat(setting.time)
    meets = layer.song == "outgoing" and layer.start_beat < beat < layer.end_beat
    if not meets or beat >= setting.time.entry_beat or len(setting.on_purpose) > 1:
        return layer
    if setting.outgoing_has_stems:
        may_clash = not layer.roles or not _SINGS_OR_PLAYS_BASS.isdisjoint(layer.roles)
    else:
        may_clash = layer.part != "percussive"
    if not may_clash:
        return layer
    is_behind = value_at(layer.lowpass_hz, beat, empty=math.inf) <= _BEHIND_HZ
    if is_behind and not setting.outgoing_has_stems:  # where a singer is known, she is silent
        return replace(layer, highpass_hz=_without_bass(layer.highpass_hz, beat))
    return replace(layer, end_beat=beat, fade_out_s=max(layer.fade_out_s, _YIELD_FADE_S))


_BEHIND_HZ: Final = 2_000.0
"""Behind a low-pass as low as this a voice is a colour, and only its bass is in the way."""
_NO_BASS_HZ: Final = 350.0
"""A high-pass from here up leaves no bass, however it is ridden. Both set by judgement."""


def _without_bass(curve: Curve, beat: float) -> Curve:
    """A high-pass that takes the bass away until a beat, and keeps it away.

    It sets in a beat before: what of the bass went to the hall rings on.
    """
    since = beat - _SWEEP_BEATS
    before = tuple(point for point in curve if point.beat < since)
    after = (replace(p, value=max(p.value, _NO_BASS_HZ)) for p in curve if p.beat > beat)
    there = value_at(curve, since, empty=_NO_HIGHPASS_HZ)
    sweep = (
        CurvePoint(beat=since, value=there),
        CurvePoint(beat=since + _SWEEP_BEATS / 4, value=max(there, _NO_BASS_HZ)),
    )
    return (*before, *sweep, *after)


_SWEEP_BEATS: Final = 1.0  # beats before the pick-up from which the bass goes; by judgement
_NO_HIGHPASS_HZ: Final = 20.0  # from here up a filter takes nothing away
