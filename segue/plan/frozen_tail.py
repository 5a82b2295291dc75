"""Frozen tails: a moment of a song that is held, and may bend into the new key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.music.key import N_PITCH_CLASSES
from segue.plan.common_tone import least_bend
from segue.plan.grid import SAME_BEAT
from segue.plan.layer import Curve, CurvePoint, FrozenLayer
from segue.plan.shaping import Planned, placed, shaping, span_of

if TYPE_CHECKING:
    from segue.plan.shaping import Setting
    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer

_AFTER_ATTACK_S: Final = 0.25
"""The ring of a last hit is taken here after it, when the attack is over. Set by judgement."""

_BEFORE_END_S: Final = 0.1
"""No moment is taken closer to the end of what was read."""

_RING_S: Final = 0.6
"""A last hit that sounds on for less is no chord to hold. Set by judgement."""

_TONE_LOW_MIDI: Final = 55
"""G3: a chord is thinned out to its tone in the octave from here."""

_THINNED = (0.2, 0.45)  # shares of the interlude from where to where, set by judgement
_BENT = (0.45, 0.7)
"""Where in the interlude a chord thins out to one tone, and where that bends."""


def frozen_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A held moment of a song.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'frozen tail'.
    """
    time = setting.time
    start, end = span_of(layer, time)
    bend: Curve = placed(layer.pitch_semitones, time)
    tone_midi: float | None = None
    thinning: Curve = ()
    if layer.bends_to == "common tone":
        tone_midi, bend, thinning = _bent(time, start, end)
    planned = FrozenLayer(
        **shaping(layer, time),
        song=layer.of,
        source_s=_moment_s(layer, time, start),
        start_beat=start,
        end_beat=end,
        pitch_semitones=bend,
        tone_midi=tone_midi,
        thinning=thinning,
    )
    return Planned(layers=(planned,))


def _moment_s(layer: RecipeLayer, time: Timeline, start: float) -> float:
    """The ring of the old song's last hit, or the middle of the last beat before the layer."""
    if layer.of == "incoming":
        song = time.incoming
        return song.grid.seconds_at(song.entry_index) + _AFTER_ATTACK_S
    end, grid = time.outgoing, time.outgoing.grid
    ending = end.facts.ending
    left_s = grid.seconds_at(time.outgoing_index_at(max(start, time.exit_beat)))
    if ending is not None and ending.kind in ("ring-out", "cold stop"):
        ring_end_s = min(ending.sound_end_s, end.facts.edge_end_s)
        if ring_end_s - ending.last_hit_s >= _RING_S and ending.last_hit_s <= left_s + SAME_BEAT:
            return ending.last_hit_s + _AFTER_ATTACK_S
    before = min(time.outgoing_index_at(max(start, time.exit_beat)), float(end.done_index)) - 0.5
    return min(grid.seconds_at(before), end.facts.edge_end_s - _BEFORE_END_S)


def _bent(time: Timeline, start: float, end: float) -> tuple[float, Curve, Curve]:
    """The tone that is kept, its bend into the new tuning and key, and the thinning to it."""
    old, new = time.outgoing.facts, time.incoming.facts
    bend = least_bend(old.key.key, new.key.key)
    tone = _TONE_LOW_MIDI + (bend.tone - _TONE_LOW_MIDI) % N_PITCH_CLASSES
    semitones = bend.semitones + (new.tuning_cents - old.tuning_cents) / 100.0
    first, last = max(start, time.exit_beat), min(end, time.entry_beat)

    def over(share: tuple[float, float], value: float) -> Curve:
        a, b = (first + (last - first) * x for x in share)
        return (CurvePoint(beat=a, value=0.0), CurvePoint(beat=b, value=value))

    curve = over(_BENT, semitones) if semitones else ()
    return tone + old.tuning_cents / 100.0, curve, over(_THINNED, 1.0)
