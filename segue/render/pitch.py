"""A song along its time map with its pitch moved and its time kept.

The sound is first made longer or shorter along a bent time map, pitch kept, and
then read faster or slower by just as much: timing comes from the map, the
pitch from the reading, and both are exact by construction. Where the pitch is
not moved the song is copied as ever. Formants move with the pitch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from segue.render.curves import values_along
from segue.render.split import split_stretch
from segue.render.stretch import sound_along
from segue.render.time_map import TimeMap
from segue.render.varispeed import read_at

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.plan.layer import Curve
    from segue.render.curves import Ruler
    from segue.render.stretch import Engine

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
) -> npt.NDArray[np.float32]:
    """Sound of a song along a time map, its pitch moved.

    Parameters
    ----------
    time_map : TimeMap
        Plan seconds to seconds of the song's file.
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
    speeds: npt.NDArray[np.float64],
    *,
    first_frame: int,
    engine: Engine = split_stretch,
) -> npt.NDArray[np.float32]:
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


def _bent_map(
    time_map: TimeMap, places: npt.NDArray[np.float64], first_frame: int, rate_hz: int
) -> TimeMap:
    """The map as seen from where each frame will be read."""
    step = max(round(_KNOT_S * rate_hz), 1)
    knots = np.unique(np.append(np.arange(0, len(places), step), len(places) - 1))
    plan_s = (first_frame + knots) / rate_hz
    inside = (time_map.plan_s > plan_s[0]) & (time_map.plan_s < plan_s[-1])
    plan_s = np.unique(np.concatenate((plan_s, time_map.plan_s[inside])))
    read = np.interp(plan_s * rate_hz - first_frame, np.arange(len(places)), places)
    return TimeMap(plan_s=(first_frame + read) / rate_hz, source_s=time_map.source_at(plan_s))
