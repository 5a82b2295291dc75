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

_STEPS: Final = 1 << 23
"""Steps of 24-bit PCM in full scale."""
_BLOCK_FRAMES: Final = 1 << 16


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
    samples = clip.samples
    peak = max(float(samples.max(initial=0.0)), -float(samples.min(initial=0.0)))
    if not peak <= 1.0:
        raise ValueError(f"a WAV of 24-bit integers holds up to full scale 1, got {peak}")
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(_wav_bytes(clip))
        part.replace(path)
    except OSError as error:
        raise InputError(
            path,
            f"cannot be written ({error.strerror or error}); make room, or choose another folder.",
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _wav_bytes(clip: Clip) -> memoryview:
    """In memory first: the library does not say why it cannot write to a disk that is full."""
    file = io.BytesIO()
    n_channels = clip.samples.shape[1]
    with soundfile.SoundFile(
        file, "w", clip.rate_hz, n_channels, subtype="PCM_24", format="WAV"
    ) as wav:
        for begin in range(0, clip.n_frames, _BLOCK_FRAMES):
            block = clip.samples[begin : begin + _BLOCK_FRAMES].astype(np.float64)
            steps = np.minimum(np.rint(block * _STEPS), _STEPS - 1)
            wav.write(steps.astype(np.int32) << 8)  # the library takes the upper 24 of 32 bits
    return file.getbuffer()


def read_wav(path: Path) -> Clip:
    """A clip that `write_wav24` wrote.

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
