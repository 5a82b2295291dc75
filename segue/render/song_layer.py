"""One layer of a song: its stems along the time map, then gain, filters and send."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from segue.render.curves import SILENCE_DB, cutoffs_along, gains_along
from segue.render.moving_filter import highpassed, lowpassed
from segue.render.reverb import hall
from segue.render.separate import separated
from segue.render.split import split_stretch
from segue.render.stretch import engine_for, missing_s, sound_along
from segue.render.time_map import time_map_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip, SongEdge
    from segue.plan.plan import Plan, SongLayer
    from segue.render.curves import Ruler
    from segue.render.stretch import Engine

_WORTH_SAYING_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerSound:
    """A layer over the whole plan.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, 2), float32
    notes : tuple of str
    """

    samples: npt.NDArray[np.float32]
    notes: tuple[str, ...] = ()


def song_layer_sound(
    layer: SongLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The sound of one layer of a song.

    Parameters
    ----------
    layer : SongLayer
    edge : SongEdge
        The song it takes from.
    plan : Plan
    ruler : Ruler
    level_db : float
        Level match of the song.

    Returns
    -------
    LayerSound
    """
    out = np.zeros((ruler.n_frames, 2), dtype=np.float32)
    first, last = _frames_of(layer, plan, ruler)
    sources, notes = _sources(layer, edge)
    if not sources or first >= last:
        return LayerSound(samples=out, notes=notes)
    time_map = time_map_of(layer.time_map, plan)
    sound = np.zeros((last - first, 2), dtype=np.float32)
    for clip, engine in sources:
        sound += sound_along(
            clip, time_map, first_frame=first, n_frames=last - first, engine=engine
        )
    start_s, end_s = first / ruler.rate_hz, last / ruler.rate_hz
    short_s = missing_s(sources[0][0], time_map, start_s=start_s, end_s=end_s)
    if short_s > _WORTH_SAYING_S:
        notes = (*notes, f"'{layer.name}' is silent for {short_s:.1f} s that were not decoded.")
    if layer.part != "all" and not edge.has_stems:
        sound = separated(sound, layer.part, ruler.rate_hz)
    fades = _fades(last - first, layer, ruler.rate_hz) * 10 ** (level_db / 20)
    shaped = _filtered((sound * fades[:, None]).astype(np.float32), layer, ruler, first, last)
    gains = gains_along(layer.gain_db, ruler)
    out[first:last] = shaped * gains[first:last, None]
    return LayerSound(samples=_with_hall(out, layer, ruler), notes=notes)


def _frames_of(layer: SongLayer, plan: Plan, ruler: Ruler) -> tuple[int, int]:
    start = round(plan.seconds_at(layer.start_beat) * ruler.rate_hz)
    end = round(plan.seconds_at(layer.end_beat) * ruler.rate_hz)
    return max(start, 0), min(end, ruler.n_frames)


def _sources(layer: SongLayer, edge: SongEdge) -> tuple[list[tuple[Clip, Engine]], tuple[str, ...]]:
    """The stems that a layer asks for, as far as the song has them, with what stretches them.

    Drums on their own go through the engine that copies attacks whole.
    """
    if not edge.has_stems:
        return [(edge.mix, engine_for(edge.rate_hz))], _mix_notes(layer, edge)
    wanted = {stem.role for stem in edge.stems if not layer.roles or stem.role in layer.roles}
    drums = edge.sum_of("drums") if "drums" in wanted and layer.part != "harmonic" else None
    tonal = sorted(wanted - {"drums"}) if layer.part != "percussive" else []
    rest = edge.sum_of(*tonal) if tonal else None
    sources: list[tuple[Clip, Engine]] = []
    if drums is not None:
        sources.append((drums, split_stretch))
    if rest is not None:
        sources.append((rest, engine_for(edge.rate_hz)))
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


def _fades(n_frames: int, layer: SongLayer, rate_hz: int) -> npt.NDArray[np.float64]:
    """Raised-cosine fades at the two ends."""
    gains = np.ones(n_frames)
    for fade_s, ends in ((layer.fade_in_s, gains), (layer.fade_out_s, gains[::-1])):
        length = min(round(fade_s * rate_hz), n_frames)
        ends[:length] *= np.sin((np.arange(length) + 0.5) / max(length, 1) * np.pi / 2) ** 2
    return gains


def _filtered(
    sound: npt.NDArray[np.float32], layer: SongLayer, ruler: Ruler, first: int, last: int
) -> npt.NDArray[np.float32]:
    if layer.lowpass_hz:
        cutoffs = cutoffs_along(layer.lowpass_hz, ruler)[first:last]
        sound = lowpassed(sound, cutoffs, ruler.rate_hz)
    if layer.highpass_hz:
        cutoffs = cutoffs_along(layer.highpass_hz, ruler)[first:last]
        sound = highpassed(sound, cutoffs, ruler.rate_hz)
    return sound


def _with_hall(
    sound: npt.NDArray[np.float32], layer: SongLayer, ruler: Ruler
) -> npt.NDArray[np.float32]:
    """The layer with its send come back, ringing on after its end."""
    if not layer.reverb_db or all(point.value <= SILENCE_DB for point in layer.reverb_db):
        return sound
    send = sound * gains_along(layer.reverb_db, ruler)[:, None]
    wet: npt.NDArray[np.float32] = sound + hall(send.astype(np.float32), ruler.rate_hz)
    return wet
