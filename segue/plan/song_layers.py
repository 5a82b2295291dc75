"""Layers of the two songs' own sound, played as they go on or as a loop."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.plan.grid import SAME_BEAT
from segue.plan.layer import SongLayer
from segue.plan.loops import loop_layers
from segue.plan.shaping import Planned, placed, shaping, span_of
from segue.plan.song_maps import incoming_map, outgoing_map, pickup_beat

if TYPE_CHECKING:
    from segue.plan.recipe import RecipeLayer
    from segue.plan.shaping import Setting

_YIELD_FADE_S: Final = 0.06
"""How fast the old song makes way for a pick-up. Set by judgement."""

_SINGS_OR_PLAYS_BASS: Final = frozenset({"voice", "lead", "bass", "mix"})


def song_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A layer of the outgoing or incoming song, with its time map.

    A layer of the old song that may have a voice or a bass in it ends where the
    new song's pick-up begins, unless the recipe lets the two meet.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'outgoing' or 'incoming'.
    setting : Setting

    Returns
    -------
    Planned
    """
    time = setting.time
    if layer.loop_bars:
        return loop_layers(layer, setting)
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
    return replace(layer, end_beat=beat, fade_out_s=max(layer.fade_out_s, _YIELD_FADE_S))
