"""Recordings from the disk, whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.audio.clip import Clip
from segue.audio.decode import read_stereo, sound_info
from segue.errors import AudioFileError

if TYPE_CHECKING:
    from pathlib import Path

LONGEST_TAKE_S: Final = 1800.0
SHORTEST_TAKE_S: Final = 3.0


def read_clip(path: Path) -> Clip:
    """A whole sound file, stereo, at its own rate.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Clip

    Raises
    ------
    AudioFileError
        If it cannot be read, or is too short or too long for a take.
    """
    info = sound_info(path)
    length_s = info.n_frames / info.rate_hz
    if length_s > LONGEST_TAKE_S:
        raise AudioFileError(
            path,
            f"is {length_s / 60:.0f} minutes long, more than {LONGEST_TAKE_S / 60:.0f}: "
            "cut it to the transition.",
        )
    if length_s < SHORTEST_TAKE_S:
        raise AudioFileError(
            path,
            f"is {length_s:.1f} s long: a take needs {SHORTEST_TAKE_S:g} s or more; "
            "check that it is the right file.",
        )
    samples = read_stereo(info, start_frame=0, n_frames=info.n_frames)
    return Clip(samples=samples, rate_hz=info.rate_hz)
