"""Rubber Band along a time map: in process, and as the program of that name.

In process: pedalboard's ``time_stretch`` takes one speed per block of 1,024 frames and
runs Rubber Band's R3 engine in real-time mode, which advances by whole hops:
it writes about 256 frames for ``q`` frames read and rounds both. A speed picked
freely is rounded on every hop, and the roundings add up to 5-8 ms over a ramp.
So only speeds are used whose hops are whole (`whole_hop_ratios`), chosen block
by block so that their sum never strays from the map by more than a few frames.

The program can be asked for, through pyrubberband. What it needs to be trusted:

- sound at half its peak level, with ``--ignore-clipping``: otherwise the program lowers the
  gain of loud material without a word. pyrubberband writes 16-bit files, so what lies 84 dB
  and more below the peak of a passage is noise;
- key frames in whole frames, none at (0, 0), which would hold the ratio at 1;
- a map read `AHEAD_FRAMES` ahead, for the engine follows it late;
- a length that agrees with the map's end, or the rest is silence.

`benchmarks/stretch.py` measured all of this, and the constants below.
"""

from __future__ import annotations

import shutil
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip, excerpt
from segue.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.arrays import Floats, Floats32
    from segue.render.time_map import TimeMap


BLOCK_FRAMES: Final = 1_024
"""Speeds change no faster than this (documentation of ``pedalboard.time_stretch``)."""
LAG_FRAMES: Final = 1_750
"""A speed acts on sound this much earlier than where it is given; measured at 48 kHz."""
PAD_FRAMES: Final = 8_192
"""Sound given before and after what is wanted: the engine fades in over some 2,048 frames."""
START_FRAMES: Final = 2_248.0  # see `START_FRAMES_A_RATIO`
START_FRAMES_A_RATIO: Final = -3_998.0
"""Delay of the engine: START + START_A_RATIO x the first ratio; measured at 48 kHz."""
_HOP_MIN, _HOP, _HOP_MAX = 128, 256, 512  # frames that the engine writes a hop: least, usual, most
_RATIO_MIN, _RATIO_MAX = 0.25, 4.0  # ratios that are looked through for whole hops
_TINY: Final = 1e-9  # above the rounding of a division


@cache
def whole_hop_ratios() -> Floats:
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


def rubber_band(source: Clip, time_map: TimeMap, first_frame: int, n_frames: int) -> Floats32:
    """Sound of a song along a time map, pitch kept.

    Parameters
    ----------
    source : Clip
        Sound outside the clip counts as silence.
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


def _hop_aimed_at(ratio: Floats) -> Floats:
    longer = 2.0 ** (8 + 2 * np.log10(np.maximum(ratio - 0.5, _TINY)))
    shorter = 2.0 ** (8 + 2 * np.log10(ratio))
    hop = np.where(ratio > 1.5, longer, np.where(ratio < 1, shorter, float(_HOP)))  # noqa: PLR2004
    clipped: Floats = np.clip(hop, _HOP_MIN, _HOP_MAX)
    return clipped


def _ratios_along(landing: Floats) -> Floats:
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


PROGRAM: Final = "rubberband"
AHEAD_FRAMES: Final = 740
"""The engine follows the map this much late; measured at 48 kHz with version 3.1.2."""
ROW_EVERY_S: Final = 0.25
"""From one key frame to the next: denser maps make the engine waver."""
_PEAK: Final = 0.5
"""Level at which a passage is handed over: its peaks may double on the way."""
_FINE: Final = {"--fine": "", "--centre-focus": "", "--ignore-clipping": ""}


def is_installed() -> bool:
    """Whether the program is there."""
    return shutil.which(PROGRAM) is not None


def refuse_if_missing(option: str) -> None:
    """Raise an `OptionError` that names the option where the program is not there."""
    if not is_installed():
        raise OptionError(
            f"{option}: the program '{PROGRAM}' is not installed; install it "
            "(Debian: rubberband-cli), or leave the option out."
        )


def program_stretch(source: Clip, time_map: TimeMap, first_frame: int, n_frames: int) -> Floats32:
    """Sound of a song along a time map, pitch kept; takes and gives what `rubber_band` does.

    Raises
    ------
    RuntimeError
        If the program is missing, fails, or writes another length.
    """
    from pyrubberband import timemap_stretch

    rate_hz = source.rate_hz
    wanted_s = np.array([first_frame, first_frame + n_frames]) / rate_hz
    begin, end = (time_map.source_at(wanted_s) - source.start_s) * rate_hz
    first_read, n_read = round(begin) - PAD_FRAMES, round(end - begin) + 2 * PAD_FRAMES
    step = round(ROW_EVERY_S * rate_hz)
    knots = np.append(np.arange(0, n_read, step), n_read)
    ahead = time_map.plan_at((knots + first_read + AHEAD_FRAMES) / rate_hz + source.start_s)
    landing = np.round((ahead - ahead[0]) * rate_hz).astype(int)
    rows = [(int(read), int(written)) for read, written in zip(knots, landing, strict=True)][1:]
    read = excerpt(source.samples, first_read, n_read)
    out = _handed_over(read, lambda y: timemap_stretch(y, rate_hz, rows, rbargs=dict(_FINE)))
    if abs(len(out) - landing[-1]) > 1:
        raise RuntimeError(f"{PROGRAM} wrote {len(out)} frames for {landing[-1]}")
    begins_s = time_map.plan_at(np.array([first_read / rate_hz + source.start_s]))
    return excerpt(out, first_frame - round(float(begins_s[0]) * rate_hz), n_frames)


def program_pitch(
    samples: Floats32, rate_hz: int, semitones: float, *, keeps_formants: bool
) -> Floats32:
    """Sound at another pitch, as long as it was.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    keeps_formants : bool
        For voices: their colour stays where it was.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32

    Raises
    ------
    RuntimeError
        If the program is missing or fails.
    """
    from pyrubberband import pitch_shift

    flags = {**_FINE, **({"--formant": ""} if keeps_formants else {})}
    out = _handed_over(samples, lambda y: pitch_shift(y, rate_hz, semitones, rbargs=dict(flags)))
    return excerpt(out, 0, len(samples))


def _handed_over(samples: Floats32, work: Callable[[Floats32], Floats32]) -> Floats32:
    """What the program makes of a passage at a level that 16 bits hold, back at its own level."""
    import subprocess

    peak = float(np.abs(samples).max(initial=0.0))
    if peak == 0.0:
        peak = 1.0
    try:
        out = work(np.ascontiguousarray(samples * np.float32(_PEAK / peak)))
    except subprocess.CalledProcessError as error:
        raise RuntimeError(f"{PROGRAM} failed: exit {error.returncode}") from error
    restored: Floats32 = (out * np.float32(peak / _PEAK)).astype(np.float32)
    return restored
