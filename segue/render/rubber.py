"""Rubber Band in process, led along a time map.

Pedalboard's ``time_stretch`` takes one speed per block of 1,024 frames and
runs Rubber Band's R3 engine in real-time mode, which advances by whole hops:
it writes about 256 frames for ``q`` frames read and rounds both. A speed picked
freely is rounded on every hop, and the roundings add up to 5-8 ms over a ramp.
So only speeds are used whose hops are whole (`whole_hop_ratios`), chosen block
by block so that their sum never strays from the map by more than a few frames.

The constants below belong to this engine; `benchmarks/stretch.py` measures
what they leave.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.render.time_map import TimeMap

BLOCK_FRAMES: Final = 1_024
"""Speeds change no faster than this (documentation of ``pedalboard.time_stretch``)."""
LAG_FRAMES: Final = 1_750
"""A speed acts on sound this much earlier than where it is given; measured at 48 kHz."""
PAD_FRAMES: Final = 8_192
"""Sound given before the first frame wanted: the engine fades in over some 2,048 frames."""
START_FRAMES: Final = 2_248.0  # see `START_FRAMES_A_RATIO`
START_FRAMES_A_RATIO: Final = -3_998.0
"""Delay of the engine: START + START_A_RATIO x the first ratio; measured at 48 kHz."""
_HOP_MIN, _HOP, _HOP_MAX = 128, 256, 512  # frames that the engine writes a hop: least, usual, most
_RATIO_MIN, _RATIO_MAX = 0.25, 4.0  # ratios that are looked through for whole hops
_TINY: Final = 1e-9  # above the rounding of a division


@cache
def whole_hop_ratios() -> npt.NDArray[np.float64]:
    """Ratios (frames out a frame in) for which the engine reads and writes whole hops.

    R3 aims at 256 frames written a hop (fewer when shortening, more beyond
    1.5 times the length), reads ``floor(written / ratio)`` and writes
    ``round(read * ratio)``.

    Returns
    -------
    ndarray, shape (n_ratios,)
        Ascending, read-only.
    """
    written = np.arange(_HOP_MIN, _HOP_MAX + 1)[:, None]
    read = np.arange(_HOP_MIN // 4, _HOP_MAX * 4)[None, :]
    ratio = written / read
    holds = np.floor(_hop_aimed_at(ratio) / ratio + _TINY) == read
    ratios = np.unique(ratio[holds & (ratio > _RATIO_MIN) & (ratio < _RATIO_MAX)])
    ratios.flags.writeable = False
    return ratios


def rubber_band(
    source: Clip, time_map: TimeMap, first_frame: int, n_frames: int
) -> npt.NDArray[np.float32]:
    """Sound of a song along a time map, pitch kept.

    Parameters
    ----------
    source : Clip
        Sound outside the clip counts as silence.
    time_map : TimeMap
        Plan seconds to seconds of the song's file.
    first_frame, n_frames : int
        The part wanted, in frames of the plan.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
        Deterministic; values above full scale are kept.
    """
    from pedalboard import time_stretch

    rate_hz = source.rate_hz
    wanted_s = np.array([first_frame, first_frame + n_frames]) / rate_hz
    begin, end = (time_map.source_at(wanted_s) - source.start_s) * rate_hz
    first_read = round(begin) - PAD_FRAMES
    n_blocks = -(-(round(end) + PAD_FRAMES - first_read) // BLOCK_FRAMES)
    edges = first_read - LAG_FRAMES + BLOCK_FRAMES * np.arange(n_blocks + 1)
    landing = time_map.plan_at(edges / rate_hz + source.start_s) * rate_hz
    ratios = _ratios_along(landing)
    speeds = np.repeat((1.0 + _TINY) / ratios, BLOCK_FRAMES)
    read = excerpt(source.samples, first_read, n_blocks * BLOCK_FRAMES)
    out = time_stretch(np.ascontiguousarray(read.T), float(rate_hz), speeds, high_quality=True)
    skip = round(
        START_FRAMES + START_FRAMES_A_RATIO * float(ratios[0]) + first_frame - float(landing[0])
    )
    return excerpt(np.ascontiguousarray(out.T), skip, n_frames)


def excerpt(
    samples: npt.NDArray[np.float32], first_frame: int, n_frames: int
) -> npt.NDArray[np.float32]:
    """A part of an array of frames; silence where it reaches beyond the ends."""
    last_frame = first_frame + n_frames
    if first_frame >= 0 and last_frame <= len(samples):
        return samples[first_frame:last_frame]
    part = np.zeros((n_frames, samples.shape[1]), dtype=np.float32)
    low, high = max(first_frame, 0), min(last_frame, len(samples))
    if low < high:
        part[low - first_frame : high - first_frame] = samples[low:high]
    return part


def _hop_aimed_at(ratio: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    longer = 2.0 ** (8 + 2 * np.log10(np.maximum(ratio - 0.5, _TINY)))
    shorter = 2.0 ** (8 + 2 * np.log10(ratio))
    hop = np.where(ratio > 1.5, longer, np.where(ratio < 1, shorter, float(_HOP)))  # noqa: PLR2004
    clipped: npt.NDArray[np.float64] = np.clip(hop, _HOP_MIN, _HOP_MAX)
    return clipped


def _ratios_along(landing: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """A whole-hop ratio for each block so that the blocks land where they should."""
    table = whole_hop_ratios()
    ratios = np.empty(len(landing) - 1)
    reached = landing[0]
    for block in range(len(ratios)):
        wanted = (landing[block + 1] - reached) / BLOCK_FRAMES
        above = min(int(np.searchsorted(table, wanted)), len(table) - 1)
        near = table[max(above - 1, 0) : above + 1]
        ratios[block] = near[np.argmin(np.abs(near - wanted))]
        reached += ratios[block] * BLOCK_FRAMES
    return ratios
