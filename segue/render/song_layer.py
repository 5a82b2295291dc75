"""One layer of a song: its stems along the time map, at their pitch or another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from segue.render.layer_sound import LayerSound, faded, frames_of
from segue.render.pitch import sound_at_pitch
from segue.render.separate import separated
from segue.render.stretch import ENGINES, missing_s
from segue.render.time_map import time_map_of

if TYPE_CHECKING:
    from segue.audio.clip import Clip, SongEdge
    from segue.plan.layer import SongLayer
    from segue.plan.plan import Plan
    from segue.render.curves import Ruler

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
    sources, notes = _sources(layer, edge)
    sound = np.zeros((max(last - first, 0), 2), dtype=np.float32)
    if not sources or first >= last:
        return LayerSound(samples=sound, first_frame=first, notes=notes)
    time_map = time_map_of(layer.time_map, plan)
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
    if layer.part != "all" and not edge.has_stems:
        sound = separated(sound, layer.part, ruler.rate_hz)
    if level_db:
        sound *= np.float32(10 ** (level_db / 20))
    sound = faded(sound, ruler.rate_hz, in_s=layer.fade_in_s, out_s=layer.fade_out_s)
    return LayerSound(samples=sound, first_frame=first, notes=notes)


def _sources(layer: SongLayer, edge: SongEdge) -> tuple[list[tuple[Clip, bool]], tuple[str, ...]]:
    """The stems that a layer asks for, drums on their own, and whether pitch moves them.

    Drums keep their pitch where something else moves.
    """
    if not edge.has_stems:
        return [(edge.mix, True)], _mix_notes(layer, edge)
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


def _mix_notes(layer: SongLayer, edge: SongEdge) -> tuple[str, ...]:
    notes = []
    if layer.roles:
        roles = ", ".join(layer.roles)
        notes.append(
            f"'{layer.name}' asks for {roles}, but {edge.title} is one mix: all of it is used."
        )
    if layer.part != "all":
        notes.append(
            f"The {layer.part} part of {edge.title} is estimated from its mix: "
            "voices cannot be told from instruments, and hard attacks leak both ways."
        )
    return tuple(notes)
