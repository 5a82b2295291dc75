"""Clips to disk, whole or not at all, and back.

References
----------
.. [WAVEX] Microsoft, "Multiple channel audio data and WAVE files", 2007: `dwChannelMask`, of which
   0 says that no channel belongs to a loudspeaker.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import Clip
from segue.errors import InputError, disk_faults
from segue.files.whole_file import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from segue.arrays import Floats, Floats32

_STEPS: Final = 1 << 23
"""Steps of 24-bit PCM in full scale."""
_BLOCK_FRAMES: Final = 1 << 16  # frames written at once, to hold little memory
_STEREO: Final = 2  # channels; a header for more has a mask of loudspeakers [WAVEX]_
_MASK_PLACE: Final = slice(40, 44)
"""Bytes of that mask: after RIFF, size, WAVE, 'fmt ', size, and 20 bytes of it [WAVEX]_."""


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
    content = wav24_bytes(clip)
    with disk_faults(path, "cannot be written ({}); make room, or choose another folder."):
        write_whole(path, content)


def wav24_bytes(clip: Clip) -> memoryview:
    """What `write_wav24` writes.

    Of more than two channels the header says that none belongs to a loudspeaker.

    Raises
    ------
    ValueError
        If the clip has values beyond full scale, or that are not numbers.
    """
    if clip.samples.shape[1] <= _STEREO:
        return _pcm24(clip, "WAV")
    content = _pcm24(clip, "WAVEX")
    content[_MASK_PLACE] = bytes(4)  # the library gives channels places by their number
    return content


def packed(clip: Clip) -> bytes:
    """A clip as 24-bit FLAC, rounded as `write_wav24` does: what waits in memory, or travels.

    Of silence next to nothing is left, of music about half of what a WAV takes.

    Raises
    ------
    ValueError
        If the clip has values beyond full scale, or that are not numbers.
    """
    return bytes(_pcm24(clip, "FLAC"))


def unpacked(content: bytes) -> Clip:
    """What `packed` packed; every value is a step of 24-bit PCM."""
    samples, rate_hz = soundfile.read(io.BytesIO(content), dtype="float32", always_2d=True)
    return Clip(samples=samples, rate_hz=rate_hz)


def rounded24(clip: Clip) -> Clip:
    """The clip as it would be read from a 24-bit file of it."""
    samples = np.empty_like(clip.samples)
    for begin in range(0, clip.n_frames, _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        samples[block] = _steps_of(clip.samples[block]) / _STEPS
    return Clip(samples=samples, rate_hz=clip.rate_hz, start_s=clip.start_s)


def _steps_of(samples: Floats32) -> Floats:
    return np.minimum(np.rint(samples.astype(np.float64) * _STEPS), _STEPS - 1)


def _pcm24(clip: Clip, file_format: str) -> memoryview:
    """In memory first: the library does not say why it cannot write to a disk that is full."""
    samples = clip.samples
    peak = max(float(samples.max(initial=0.0)), -float(samples.min(initial=0.0)))
    if not peak <= 1.0:
        raise ValueError(f"a file of 24-bit integers holds up to full scale 1, got {peak}")
    file = io.BytesIO()
    with soundfile.SoundFile(
        file, "w", clip.rate_hz, samples.shape[1], subtype="PCM_24", format=file_format
    ) as out:
        for begin in range(0, clip.n_frames, _BLOCK_FRAMES):
            steps = _steps_of(samples[begin : begin + _BLOCK_FRAMES])
            out.write(steps.astype(np.int32) << 8)  # the library takes the upper 24 of 32 bits
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
