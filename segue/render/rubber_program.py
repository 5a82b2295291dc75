"""The `rubberband` program as an engine that can be asked for, through pyrubberband.

What it needs to be trusted, each measured by `benchmarks/stretch.py`:

- sound at half its peak level, with ``--ignore-clipping``: otherwise the program lowers the
  gain of loud material without a word. pyrubberband writes 16-bit files, so what lies 84 dB
  and more below the peak of a passage is noise;
- key frames in whole frames, none at (0, 0), which would hold the ratio at 1;
- a map read `AHEAD_FRAMES` ahead, for the engine follows it late;
- a length that agrees with the map's end, or the rest is silence.
"""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.errors import OptionError
from segue.render.rubber import excerpt

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.render.time_map import TimeMap

    Samples = npt.NDArray[np.float32]

PROGRAM: Final = "rubberband"
AHEAD_FRAMES: Final = 740
"""The engine follows the map this much late; measured at 48 kHz with version 3.1.2."""
PAD_FRAMES: Final = 8_192
"""Sound given before and after what is wanted, so that the engine's ends are not heard."""
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


def program_stretch(source: Clip, time_map: TimeMap, first_frame: int, n_frames: int) -> Samples:
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
    samples: Samples, rate_hz: int, semitones: float, *, keeps_formants: bool
) -> Samples:
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


def _handed_over(samples: Samples, work: Callable[[Samples], Samples]) -> Samples:
    """What the program makes of a passage at a level that 16 bits hold, back at its own level."""
    import subprocess

    peak = float(np.abs(samples).max(initial=0.0))
    if peak == 0.0:
        peak = 1.0
    try:
        out = work(np.ascontiguousarray(samples * np.float32(_PEAK / peak)))
    except subprocess.CalledProcessError as error:
        raise RuntimeError(f"{PROGRAM} failed: exit {error.returncode}") from error
    restored: Samples = (out * np.float32(peak / _PEAK)).astype(np.float32)
    return restored
