"""One layer of a song: its stems along the time map, at their pitch or another."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.audio.clip import VOICES, Clip, Role
from segue.render.layer_sound import (
    LayerSound,
    drums_of_mix,
    faded,
    frames_of,
    mix_played_whole,
    singer_turned_down,
)
from segue.render.separate import percussion_of
from segue.render.stretch import ENGINES, missing_s, sound_at_pitch
from segue.render.time_map import time_map_of
from segue.render.voiceless import voiceless

if TYPE_CHECKING:
    from segue.audio.clip import SongEdge
    from segue.plan.layer import SongLayer
    from segue.plan.plan import Plan
    from segue.render.layer_sound import Ruler
    from segue.render.time_map import TimeMap

_WORTH_SAYING_S = 0.05  # less that is missing is not told; by judgement


def song_layer_sound(
    layer: SongLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The sound of one layer of a song before its curves of gain, filter and pan.

    Parameters
    ----------
    edge : SongEdge
        The song it takes from.
    level_db : float
        Level match of the song.
    """
    first, last = frames_of(layer, plan, ruler)
    time_map = time_map_of(layer.time_map, plan)
    sources, notes = _sources(layer, edge, time_map)
    sound = np.zeros((max(last - first, 0), 2), dtype=np.float32)
    if not sources or first >= last:
        return LayerSound(samples=sound, first_frame=first, notes=notes)
    part = ruler.part(first, last)
    for clip, is_tonal in sources:
        semitones = layer.pitch_semitones if is_tonal else ()
        sound += sound_at_pitch(
            clip, time_map, semitones, part, first_frame=first, engine=ENGINES[plan.stretch_engine]
        )
    start_s, end_s = first / ruler.rate_hz, last / ruler.rate_hz
    short_s = missing_s(sources[0][0], time_map, start_s=start_s, end_s=end_s)
    if short_s > _WORTH_SAYING_S:
        notes = (*notes, f"'{layer.name}' is silent for {short_s:.1f} s that were not decoded.")
    if level_db:
        sound *= np.float32(10 ** (level_db / 20))
    sound = faded(sound, ruler.rate_hz, in_s=layer.fade_in_s, out_s=layer.fade_out_s)
    return LayerSound(samples=sound, first_frame=first, notes=notes)


def _sources(
    layer: SongLayer, edge: SongEdge, time_map: TimeMap
) -> tuple[list[tuple[Clip, bool]], tuple[str, ...]]:
    """The stems that a layer asks for, drums on their own, and whether pitch moves them.

    Drums keep their pitch where something else moves.
    """
    if not edge.has_stems:
        source = edge.mix if layer.part == "all" else _part_of(edge, layer, time_map)
        alone = None
        if layer.compared_s:
            alone = voiceless(edge, source, layer.compared_s, layer.compared_length_s)
        notes = _mix_notes(layer, edge, has_voice=alone is None)
        return [(alone or source, layer.part != "percussive")], notes
    wanted = {stem.role for stem in edge.stems if not layer.roles or stem.role in layer.roles}
    drums = edge.sum_of("drums") if "drums" in wanted and layer.part != "harmonic" else None
    tonal = sorted(wanted - {"drums"}) if layer.part != "percussive" else []
    rest = edge.sum_of(*tonal) if tonal else None
    sources: list[tuple[Clip, bool]] = []
    if drums is not None:
        sources.append((drums, rest is None))
    if rest is not None:
        sources.append((rest, True))
    if not sources:
        asked = " and ".join(layer.roles) or layer.part
        return [], (f"'{layer.name}' is silent: {edge.title} has no stem for {asked}.",)
    return sources, ()


_AROUND_S: Final = 1.0
"""Sound kept on both sides of what is played, so that the medians are whole there."""


def _part_of(edge: SongEdge, layer: SongLayer, time_map: TimeMap) -> Clip:
    """The drums of a mix, or the mix without them, where a layer plays it."""
    low_s = float(np.floor(time_map.source_s[0] - _AROUND_S))
    high_s = float(np.ceil(time_map.source_s[-1] + _AROUND_S))
    drums = percussion_of(edge, low_s, high_s)
    if layer.part == "percussive":
        return drums
    first = round((drums.start_s - edge.mix.start_s) * drums.rate_hz)
    rest = edge.mix.samples[first : first + drums.n_frames] - drums.samples
    return Clip(samples=rest, rate_hz=drums.rate_hz, start_s=drums.start_s)


def _mix_notes(layer: SongLayer, edge: SongEdge, *, has_voice: bool) -> tuple[str, ...]:
    notes: list[str] = []
    if not has_voice:
        notes.append(singer_turned_down(edge.title))
    if layer.part == "percussive":
        return (drums_of_mix(edge.title),)
    if layer.part == "harmonic":
        notes.append(f"Drums are taken out of the mix of {edge.title}: hard attacks go with them.")
    elif layer.roles and set(get_args(Role)) - set(layer.roles) - VOICES - {"mix"}:
        notes.append(mix_played_whole(layer.name, layer.roles, edge.title))
    return tuple(notes)  # whether somebody sings in it, the plan says
