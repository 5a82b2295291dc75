"""Layers of the songs' own sound: stems along a time map, and drum bridges on their drums."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.analysis.envelope import sounds
from segue.audio.clip import VOICES, Clip, Role, SongEdge, add_at
from segue.render.drum_kit import DrumSound, drum_kit
from segue.render.layer_sound import (
    WORTH_SAYING_S,
    LayerSound,
    drums_of_mix,
    drums_taken_out,
    faded,
    frames_of,
    mix_played_whole,
    singer_turned_down,
)
from segue.render.separate import percussion_of
from segue.render.stretch import ENGINES, missing_s, sound_at_pitch
from segue.render.time_map import TimeMap, time_map_of
from segue.render.voiceless import voiceless

if TYPE_CHECKING:
    from segue.arrays import Floats32
    from segue.plan.layer import Drum, DrumLayer, SongLayer
    from segue.plan.plan import Plan
    from segue.render.layer_sound import Ruler


def song_layer_sound(
    layer: SongLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The sound of one layer of a song before its curves of gain, filter and pan.

    Parameters
    ----------
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
    if short_s > WORTH_SAYING_S:
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
        return _of_mix(layer, edge, time_map)
    wanted = {stem.role for stem in edge.stems if not layer.roles or stem.role in layer.roles}
    drums = edge.sum_of("drums") if "drums" in wanted and layer.part != "harmonic" else None
    tonal = sorted(wanted - {"drums"}) if layer.part != "percussive" else []
    rest = edge.sum_of(*tonal) if tonal else None
    notes: tuple[str, ...] = ()
    if edge.has_backing and _asks_drums(layer) != _asks_rest(layer):
        drums, rest, notes = _of_backing(layer, edge, time_map, rest)
    sources = [(drums, rest is None)] if drums is not None else []
    if rest is not None:
        sources.append((rest, True))
    if not sources:
        asked = " and ".join(layer.roles) or layer.part
        return [], (f"'{layer.name}' is silent: {edge.title} has no stem for {asked}.",)
    return sources, notes


def _of_mix(
    layer: SongLayer, edge: SongEdge, time_map: TimeMap
) -> tuple[list[tuple[Clip, bool]], tuple[str, ...]]:
    source, alone = edge.mix, None
    if layer.part != "all":
        struck = _struck_of(edge, time_map)
        source = struck if layer.part == "percussive" else _without(source, struck)
    if layer.compared_s:
        alone = voiceless(edge, source, layer.compared_s, layer.compared_length_s)
    notes = _mix_notes(layer, edge, has_voice=alone is None)
    return [(alone or source, layer.part != "percussive")], notes


def _of_backing(
    layer: SongLayer, edge: SongEdge, time_map: TimeMap, rest: Clip | None
) -> tuple[Clip | None, Clip | None, tuple[str, ...]]:
    """Drums and rest where one stem holds both, and a layer asks for one of them."""
    struck = _struck_of(edge, time_map)
    if _asks_drums(layer):
        return struck, rest, (drums_of_mix(edge.title),)
    return None, None if rest is None else _without(rest, struck), (drums_taken_out(edge.title),)


def _asks_drums(layer: SongLayer) -> bool:
    return layer.part != "harmonic" and (not layer.roles or "drums" in layer.roles)


def _asks_rest(layer: SongLayer) -> bool:
    return layer.part != "percussive" and (not layer.roles or "other" in layer.roles)


_AROUND_S: Final = 1.0
"""Sound kept on both sides of what is played, so that the medians are whole there."""


def _struck_of(edge: SongEdge, time_map: TimeMap) -> Clip:
    """The drums of a mix or a backing, where a layer plays it."""
    low_s = float(np.floor(time_map.source_s[0] - _AROUND_S))
    high_s = float(np.ceil(time_map.source_s[-1] + _AROUND_S))
    return percussion_of(edge, low_s, high_s)


def _without(whole: Clip, drums: Clip) -> Clip:
    """What sounds beside the drums, as long as they do."""
    first = round((drums.start_s - whole.start_s) * drums.rate_hz)
    rest = whole.samples[first : first + drums.n_frames] - drums.samples
    return Clip(samples=rest, rate_hz=drums.rate_hz, start_s=drums.start_s)


def _mix_notes(layer: SongLayer, edge: SongEdge, *, has_voice: bool) -> tuple[str, ...]:
    notes: list[str] = []
    if not has_voice:
        notes.append(singer_turned_down(edge.title))
    if layer.part == "percussive":
        return (drums_of_mix(edge.title),)
    if layer.part == "harmonic":
        notes.append(drums_taken_out(edge.title))
    elif layer.roles and set(get_args(Role)) - set(layer.roles) - VOICES - {"mix"}:
        notes.append(mix_played_whole(layer.name, layer.roles, edge.title))
    return tuple(notes)  # whether somebody sings in it, the plan says


Kit = tuple["dict[Drum, DrumSound]", tuple[str, ...]]
"""A song's drums, and remarks on them."""

SEARCHED_S: Final = 24.0
"""Sound nearest the join in which drums are looked for."""
_HUMAN_DB: Final = 0.8
"""Hits differ by up to this much either way, as a player's do; set by judgement."""
_FADE_OUT_S: Final = 0.02  # the last hit ends without a click over this time; by judgement


class Kits:
    """The drums of songs, each found once: all segues of a run play the same."""

    def __init__(self) -> None:
        self._found: dict[SongEdge, Kit] = {}

    def of(self, edge: SongEdge) -> Kit:
        """The drums of a song, and what is odd about them."""
        if edge not in self._found:
            self._found[edge] = drum_kit(_percussion(edge), edge.rate_hz)
        return self._found[edge]


def drum_layer_sound(
    layer: DrumLayer, edge: SongEdge, kit: Kit, plan: Plan, ruler: Ruler, *, level_db: float
) -> LayerSound:
    """The drum bridge before its curves.

    Returns
    -------
    LayerSound
        Every attack on its beat, to the frame; each drum as loud as the song plays it.
    """
    first, last = frames_of(layer, plan, ruler)
    drums, remarks = kit
    generator = np.random.default_rng((plan.seed, 4))
    out = np.zeros((max(last - first, 0), 2), dtype=np.float32)
    for hit in layer.hits:
        human_db = float(generator.uniform(-_HUMAN_DB, _HUMAN_DB))
        if hit.drum in drums:
            at = round(plan.seconds_at(hit.beat) * ruler.rate_hz) - first
            gain = np.float32(10 ** ((level_db + hit.gain_db + human_db) / 20))
            add_at(out, gain * drums[hit.drum].samples, at - drums[hit.drum].attack_frame)
    wanted = {hit.drum for hit in layer.hits}
    notes = [
        f"'{layer.name}': in {edge.title} {remark}."
        for remark in remarks
        if any(drum in remark.split(" was ")[0] for drum in wanted)
    ]
    if _drum_stem(edge) is None:
        notes.append(drums_of_mix(edge.title))
    samples = faded(out, ruler.rate_hz, out_s=_FADE_OUT_S)
    return LayerSound(samples=samples, first_frame=first, notes=tuple(notes))


def _percussion(edge: SongEdge) -> Floats32:
    """Drums of a song near the join: the stem, or the percussive part of the mix."""
    drums = _drum_stem(edge)
    if drums is None:
        low_s = edge.end_s - SEARCHED_S if edge.edge == "end" else edge.start_s
        return percussion_of(edge, low_s, low_s + SEARCHED_S).samples
    length = round(SEARCHED_S * edge.rate_hz)
    return drums.samples[-length:] if edge.edge == "end" else drums.samples[:length]


def _drum_stem(edge: SongEdge) -> Clip | None:
    """The drums, where they are a stem of their own and sound."""
    drums = edge.sum_of("drums")
    return drums if drums is not None and sounds(drums.samples) else None
