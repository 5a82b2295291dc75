"""Clips to disk, whole or not at all, and back."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import Clip
from segue.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

_STEPS: Final = 1 << 23
"""Steps of 24-bit PCM in full scale."""


def write_wav24(path: Path, clip: Clip) -> None:
    """Write a clip as 24-bit PCM WAV.

    Values are rounded to the nearest step, without dither: the rounding error,
    146 dB below full scale, is under the noise of any converter, and the same
    clip always gives the same file.

    Parameters
    ----------
    path : Path
        Where to; an older file there is replaced at the end, in one step.
    clip : Clip
        Within full scale.

    Raises
    ------
    InputError
        If the file cannot be written.
    ValueError
        If the clip has values beyond full scale, or that are not numbers.
    """
    peak = float(np.abs(clip.samples).max(initial=0.0))
    if not peak <= 1.0:
        raise ValueError(f"a WAV of 24-bit integers holds up to full scale 1, got {peak}")
    steps = np.minimum(np.rint(clip.samples.astype(np.float64) * _STEPS), _STEPS - 1)
    words = steps.astype(np.int32) << 8  # the library takes the upper 24 of 32 bits
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(_wav_bytes(words, clip.rate_hz))
        part.replace(path)
    except OSError as error:
        raise InputError(
            path,
            f"cannot be written ({error.strerror or error}); make room, or choose another folder.",
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _wav_bytes(words: npt.NDArray[np.int32], rate_hz: int) -> bytes:
    """In memory first: the library does not say why it cannot write to a disk that is full."""
    with io.BytesIO() as file:
        soundfile.write(file, words, rate_hz, subtype="PCM_24", format="WAV")
        return file.getvalue()


def read_wav(path: Path) -> Clip:
    """A clip that `write_wav24` wrote.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Clip

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    try:
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        raise InputError(path, f"cannot be read ({error}); make the run again.") from error
    return Clip(samples=samples, rate_hz=rate_hz)
