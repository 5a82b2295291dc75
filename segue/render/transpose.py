"""A song's edge moved by whole semitones, in time as it was.

Each tonal part is stretched by the engine that leads along time maps and read
back at another speed (see `segue.render.pitch`); voices get their formants
back. Drums are not moved.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled_frames
from segue.audio.clip import Clip, SongEdge, Stem
from segue.plan.layer import FrozenLayer, ReversedLayer, SongLayer
from segue.render.formants import formants_restored
from segue.render.pitch import sound_at_speeds
from segue.render.rubber import excerpt, rubber_band
from segue.render.time_map import TimeMap

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.layer import Layer, Side
    from segue.plan.plan import Plan

VOICES: Final = frozenset({"voice", "lead"})
_BASE_HZ: Final = 11_025
_AROUND_S: Final = 0.3
_USED_AROUND_S: Final = 1.0


def transposed(
    edge: SongEdge, semitones: int, *, start_s: float | None = None, end_s: float | None = None
) -> SongEdge:
    """The edge in another key.

    Parameters
    ----------
    edge : SongEdge
    semitones : int
        Up is positive; 0 gives the edge itself.
    start_s, end_s : float, optional
        The part needed, in seconds of the song's file; by default all that was
        decoded. See `span_used`.

    Returns
    -------
    SongEdge
        Of the part needed only. Drum stems are copied; voice and lead keep
        their formants; a mix is moved as a whole, which a remark says.
    """
    if not semitones:
        return edge
    first = 0 if start_s is None else round((start_s - edge.start_s) * edge.rate_hz)
    last = len(edge.stems[0].clip.samples)
    first = min(max(first, 0), last)
    if end_s is not None:
        last = min(max(round((end_s - edge.start_s) * edge.rate_hz), first), last)
    stems = tuple(
        replace(stem, clip=_stem_moved(stem, semitones, first, last)) for stem in edge.stems
    )
    remarks = edge.remarks
    if not edge.has_stems:
        way = "up" if semitones > 0 else "down"
        remark = (
            f"{edge.title} is one mix: all of it is moved {abs(semitones)} semitones {way}, "
            "its drums and the colour of its voices too."
        )
        remarks = (*remarks, remark)
    return replace(edge, stems=stems, remarks=remarks)


def span_used(plan: Plan, song: Side) -> tuple[float, float]:
    """From where to where a plan uses a song, in seconds of its file, with a second around.

    Raises
    ------
    ValueError
        If no layer of the plan uses the song.
    """
    spans = [_span_of(layer, plan) for layer in plan.layers if getattr(layer, "song", "") == song]
    if not spans:
        raise ValueError(f"no layer uses the {song} song")
    start_s, end_s = min(span[0] for span in spans), max(span[1] for span in spans)
    return start_s - _USED_AROUND_S, end_s + _USED_AROUND_S


def _span_of(layer: Layer, plan: Plan) -> tuple[float, float]:
    match layer:
        case SongLayer():
            return layer.time_map[0].source_s, layer.time_map[-1].source_s
        case FrozenLayer():
            return layer.source_s, layer.source_s
        case ReversedLayer():
            return layer.source_s, layer.source_s + layer.length_s
        case _:  # drums are not moved
            return plan.duration_s, 0.0


def _stem_moved(stem: Stem, semitones: int, first: int, last: int) -> Clip:
    clip = stem.clip
    start_s = clip.start_s + first / clip.rate_hz
    part = clip.samples[first:last]
    if stem.role != "drums" and part.any():
        part = _moved(clip, semitones, first, last, keeps_formants=stem.role in VOICES)
    return Clip(samples=part, rate_hz=clip.rate_hz, start_s=start_s)


def _moved(
    clip: Clip, semitones: int, first: int, last: int, *, keeps_formants: bool
) -> npt.NDArray[np.float32]:
    """A part of a clip at another pitch, as long as it was.

    Work is done at 44.1 or 48 kHz, where the engine's timing is measured.
    """
    work_hz = 44_100 if clip.rate_hz % _BASE_HZ == 0 else 48_000
    around = round(_AROUND_S * clip.rate_hz)
    read = excerpt(clip.samples, first - around, last - first + 2 * around)
    source = Clip(
        samples=resampled_frames(read, from_hz=clip.rate_hz, to_hz=work_hz), rate_hz=work_hz
    )
    ends_s = np.array([0.0, source.duration_s])
    ratio = 2.0 ** (semitones / 12)
    sound = sound_at_speeds(
        source,
        TimeMap(plan_s=ends_s, source_s=ends_s),
        np.full(source.n_frames, ratio),
        first_frame=0,
        engine=rubber_band,
    )
    if keeps_formants:
        sound = formants_restored(sound, ratio, work_hz)
    back = resampled_frames(sound, from_hz=work_hz, to_hz=clip.rate_hz)
    return excerpt(back, around, last - first)
