"""Sound of a song along a time map: copied where steady, stretched elsewhere.

Cross-fades between the two keep the level, whatever the sides have in common. With
correlation r between them, gains sin(x) / sqrt(1 + r sin 2x) and
cos(x) / sqrt(1 + r sin 2x) keep the power constant: equal-gain for r = 1,
equal-power for r = 0 (derived from the power of a sum).

Where the pitch is moved and the time kept, the sound is first made longer or shorter
along a bent time map, pitch kept, and then read faster or slower by just as much:
timing comes from the map, the pitch from the reading, and both are exact by
construction. Formants move with the pitch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip, excerpt
from segue.render.layer_sound import Ruler, values_along
from segue.render.rubber import program_stretch
from segue.render.split import split_stretch
from segue.render.time_map import Span, TimeMap
from segue.render.varispeed import read_at

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.plan.layer import Curve
    from segue.plan.plan import StretchEngine


def correlation(a: Floats32, b: Floats32) -> float:
    """Normalised correlation of two passages of equal shape, 0 where one is silent."""
    x, y = a.astype(np.float64).ravel(), b.astype(np.float64).ravel()
    scale = float(np.sqrt(x @ x) * np.sqrt(y @ y))
    return float(x @ y) / scale if scale > 0 else 0.0


def crossfaded(before: Floats32, after: Floats32) -> Floats32:
    """From one passage to another over their whole length.

    Parameters
    ----------
    before, after : ndarray, shape (n_frames, n_channels)
        The same instants, from the two sides.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    shared = min(max(correlation(before, after), 0.0), 1.0)
    angle = (np.arange(len(before)) + 0.5) / len(before) * (np.pi / 2)
    level = np.sqrt(1 + shared * np.sin(2 * angle))
    fade_out, fade_in = (np.cos(angle) / level)[:, None], (np.sin(angle) / level)[:, None]
    mixed: Floats32 = (before * fade_out + after * fade_in).astype(np.float32)
    return mixed


Engine = Callable[[Clip, TimeMap, int, int], "Floats32"]
"""(source, time map, first frame, number of frames) to that many frames of sound."""

ENGINES: Final[dict[StretchEngine, Engine]] = {
    "own": split_stretch,
    "rubberband": program_stretch,
}
"""By the name that a plan gives."""

JOIN_FROM_S: Final = 0.018  # where the cross-fade begins before the beat
JOIN_TO_S: Final = 0.003
"""Copied and stretched sound cross-fade in this stretch before the beat, so that every attack
on a beat comes whole from one side; set by judgement from 10-20 ms, common practice, no source."""


def sound_along(
    source: Clip,
    time_map: TimeMap,
    *,
    first_frame: int,
    n_frames: int,
    engine: Engine = split_stretch,
) -> Floats32:
    """Sound of a song along a time map.

    Parameters
    ----------
    source : Clip
        Sound outside it counts as silence.
    time_map : TimeMap
        Plan seconds to seconds of the song's file.
    first_frame, n_frames : int
        The part wanted, in frames of the plan.
    engine : Engine, optional
        What stretches; by default what `benchmarks/stretch.py` measures best.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
        Steady parts are bit for bit those of the source, but for the
        cross-fades at their ends.
    """
    out = np.zeros((n_frames, source.samples.shape[1]), dtype=np.float32)
    last_frame = first_frame + n_frames
    join_from, join_to = round(JOIN_FROM_S * source.rate_hz), round(JOIN_TO_S * source.rate_hz)
    spans = time_map.spans()
    written = first_frame
    for index, span in enumerate(spans):
        is_last = index == len(spans) - 1
        begin = first_frame if index == 0 else round(span.start_s * source.rate_hz)
        end = last_frame if is_last else round(span.end_s * source.rate_hz)
        begin, end = max(begin - join_from, first_frame), min(end, last_frame)
        if end <= begin:
            continue
        sound = _span_sound(source, time_map, span, (begin, end), engine)
        overlap = min(max(written - begin, 0), join_from - join_to, len(sound))
        if overlap:
            before = out[begin - first_frame : begin - first_frame + overlap]
            sound = np.concatenate((crossfaded(before, sound[:overlap]), sound[overlap:]))
        out[begin - first_frame : end - first_frame] = sound
        written = end
    return out


def missing_s(source: Clip, time_map: TimeMap, *, start_s: float, end_s: float) -> float:
    """Seconds of the plan that would need sound from outside the clip."""
    first, last = time_map.plan_at(np.array([source.start_s, source.end_s]))
    short = max(float(first) - start_s, 0.0) + max(end_s - float(last), 0.0)
    return min(short, end_s - start_s)


def _span_sound(
    source: Clip, time_map: TimeMap, span: Span, frames: tuple[int, int], engine: Engine
) -> Floats32:
    begin, end = frames
    if span.offset_s is None:
        return engine(source, time_map, begin, end - begin)
    shift = round((span.offset_s - source.start_s) * source.rate_hz)
    return excerpt(source.samples, begin + shift, end - begin)


_KNOT_S = 0.05  # a speed that moves is followed in pieces of this length; by judgement
_BEYOND_FRAMES = 256  # frames read beyond both ends, for the kernel that reads between frames


def sound_at_pitch(
    source: Clip,
    time_map: TimeMap,
    semitones: Curve,
    part: Ruler,
    *,
    first_frame: int,
    engine: Engine = split_stretch,
) -> Floats32:
    """Sound of a song along a time map, its pitch moved.

    Parameters
    ----------
    semitones : Curve
        Empty leaves the pitch alone.
    part : Ruler
        Of the frames wanted.
    first_frame : int
        The first of them, in frames of the plan.
    engine : Engine, optional
        What stretches.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    if not any(point.value for point in semitones):
        return sound_along(
            source, time_map, first_frame=first_frame, n_frames=part.n_frames, engine=engine
        )
    speeds = 2 ** (values_along(semitones, part) / 12)
    return sound_at_speeds(source, time_map, speeds, first_frame=first_frame, engine=engine)


def sound_at_speeds(
    source: Clip,
    time_map: TimeMap,
    speeds: Floats,
    *,
    first_frame: int,
    engine: Engine = split_stretch,
) -> Floats32:
    """Sound of a song along a time map, every frame of it at a ratio of its pitch.

    Parameters
    ----------
    speeds : ndarray, shape (n_frames,)
        2 is an octave up.
    first_frame : int
        The first frame wanted, in frames of the plan.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    places = np.concatenate(([0.0], np.cumsum((speeds[1:] + speeds[:-1]) / 2)))
    bent = _bent_map(time_map, places, first_frame, source.rate_hz)
    n_frames = int(places[-1]) + 2 * _BEYOND_FRAMES
    sound = sound_along(
        source, bent, first_frame=first_frame - _BEYOND_FRAMES, n_frames=n_frames, engine=engine
    )
    whole = np.round(places)
    steady = np.abs(places - whole) < 1e-9  # noqa: PLR2004 - sums of ones
    return read_at(sound, np.where(steady, whole, places) + _BEYOND_FRAMES)


def _bent_map(time_map: TimeMap, places: Floats, first_frame: int, rate_hz: int) -> TimeMap:
    """The map as seen from where each frame will be read."""
    step = max(round(_KNOT_S * rate_hz), 1)
    knots = np.unique(np.append(np.arange(0, len(places), step), len(places) - 1))
    plan_s = (first_frame + knots) / rate_hz
    inside = (time_map.plan_s > plan_s[0]) & (time_map.plan_s < plan_s[-1])
    plan_s = np.unique(np.concatenate((plan_s, time_map.plan_s[inside])))
    read = np.interp(plan_s * rate_hz - first_frame, np.arange(len(places)), places)
    return TimeMap(plan_s=(first_frame + read) / rate_hz, source_s=time_map.source_at(plan_s))
