"""Rubber Band's own command-line tool, led along a time map; for machines that have it.

What it needs to be trusted (each measured; tests hold them):

- a WAV file of floats at an eighth of the level, with ``--ignore-clipping``:
  otherwise it lowers the gain of loud material without a word;
- key frames in whole frames, none at (0, 0), which would hold the ratio at 1;
- a map read `AHEAD_FRAMES` ahead, for the engine follows it late;
- a length that agrees with the map's end, or the rest is silence.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.render.rubber import excerpt

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.render.time_map import TimeMap

PROGRAM: Final = "rubberband"
AHEAD_FRAMES: Final = 740
"""The engine follows the map this much late; measured at 48 kHz."""
HEADROOM: Final = 0.125
PAD_FRAMES: Final = 8_192
ROW_EVERY_S: Final = 0.25


def is_installed() -> bool:
    """Whether the command-line tool is there."""
    return shutil.which(PROGRAM) is not None


def rubber_band_file(
    source: Clip, time_map: TimeMap, first_frame: int, n_frames: int
) -> npt.NDArray[np.float32]:
    """Sound of a song along a time map, by the command-line tool.

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
        If the tool is missing, fails, or writes another length.
    """
    rate_hz = source.rate_hz
    wanted_s = np.array([first_frame, first_frame + n_frames]) / rate_hz
    begin, end = (time_map.source_at(wanted_s) - source.start_s) * rate_hz
    first_read, n_read = round(begin) - PAD_FRAMES, round(end - begin) + 2 * PAD_FRAMES
    step = round(ROW_EVERY_S * rate_hz)
    knots = np.append(np.arange(0, n_read, step), n_read)
    ahead = time_map.plan_at((knots + first_read + AHEAD_FRAMES) / rate_hz + source.start_s)
    landing = np.round((ahead - ahead[0]) * rate_hz).astype(int)
    n_out = int(landing[-1])
    rows = [f"{read} {written}" for read, written in zip(knots[1:], landing[1:], strict=True)]
    out = _run(excerpt(source.samples, first_read, n_read), rate_hz, rows, n_out)
    begins_s = time_map.plan_at(np.array([first_read / rate_hz + source.start_s]))
    return excerpt(out, first_frame - round(float(begins_s[0]) * rate_hz), n_frames)


def _run(
    samples: npt.NDArray[np.float32], rate_hz: int, rows: list[str], n_out: int
) -> npt.NDArray[np.float32]:
    import soundfile

    program = shutil.which(PROGRAM)
    if program is None:
        raise RuntimeError("the rubberband command-line tool is not installed")
    with tempfile.TemporaryDirectory() as folder:
        source, rows_file, target = (Path(folder) / n for n in ("in.wav", "map.txt", "out.wav"))
        soundfile.write(source, samples * np.float32(HEADROOM), rate_hz, subtype="FLOAT")
        rows_file.write_text("\n".join(rows) + "\n")
        command = [program, "-3", "--centre-focus", "--ignore-clipping", "-q"]
        command += ["--timemap", str(rows_file), "-D", f"{n_out / rate_hz:.9f}"]
        done = subprocess.run(
            [*command, str(source), str(target)], capture_output=True, text=True, check=False
        )
        if done.returncode or not target.exists():
            raise RuntimeError(f"rubberband failed: {done.stderr.strip()}")
        out, _ = soundfile.read(target, dtype="float32", always_2d=True)
    if abs(len(out) - n_out) > 1:
        raise RuntimeError(f"rubberband wrote {len(out)} frames for {n_out}")
    restored: npt.NDArray[np.float32] = out / np.float32(HEADROOM)
    return restored
