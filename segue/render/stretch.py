"""Sound of a song along a time map: copied where steady, stretched elsewhere.

Cross-fades that keep the level, whatever the two sides have in common.

With correlation r between the sides, gains sin(x) / sqrt(1 + r sin 2x) and
cos(x) / sqrt(1 + r sin 2x) keep the power constant: equal-gain for r = 1,
equal-power for r = 0 (derived from the power of a sum).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.render.rubber import excerpt
from segue.render.rubber_program import program_stretch
from segue.render.split import split_stretch
from segue.render.time_map import TimeMap

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.plan.plan import StretchEngine
    from segue.render.time_map import Span


def correlation(a: npt.NDArray[np.float32], b: npt.NDArray[np.float32]) -> float:
    """Normalised correlation of two passages of equal shape, 0 where one is silent."""
    x, y = a.astype(np.float64).ravel(), b.astype(np.float64).ravel()
    scale = float(np.sqrt(x @ x) * np.sqrt(y @ y))
    return float(x @ y) / scale if scale > 0 else 0.0


def crossfaded(
    before: npt.NDArray[np.float32], after: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
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
    mixed: npt.NDArray[np.float32] = (before * fade_out + after * fade_in).astype(np.float32)
    return mixed


Engine = Callable[[Clip, TimeMap, int, int], "npt.NDArray[np.float32]"]
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
) -> npt.NDArray[np.float32]:
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
) -> npt.NDArray[np.float32]:
    begin, end = frames
    if span.offset_s is None:
        return engine(source, time_map, begin, end - begin)
    shift = round((span.offset_s - source.start_s) * source.rate_hz)
    return excerpt(source.samples, begin + shift, end - begin)
