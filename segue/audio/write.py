"""Clips to disk, whole or not at all, and back.

References
----------
.. [WAVEX] Microsoft, "Multiple channel audio data and WAVE files", 2007: `dwChannelMask`, of which
   0 says that no channel belongs to a loudspeaker.
"""

from __future__ import annotations

import io
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import Clip
from segue.errors import RunFolderError, disk_faults
from segue.files.whole_file import write_whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
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
    _write(path, wav24_bytes(clip))


def write_unpacked(path: Path, content: bytes, *, gain: float = 1.0) -> None:
    """Write what `packed` packed as `write_wav24` does, some of it at a time.

    Parameters
    ----------
    gain : float, optional
        Its samples are multiplied by that.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    with soundfile.SoundFile(io.BytesIO(content)) as flac:
        blocks = flac.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True)
        louder = (block * np.float32(gain) for block in blocks)
        wav = _pcm24(louder, flac.samplerate, flac.channels, "WAV")
    _write(path, wav)


def _write(path: Path, content: memoryview) -> None:
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
    n_channels = clip.samples.shape[1]
    content = _pcm24(
        _blocks(clip), clip.rate_hz, n_channels, "WAV" if n_channels <= _STEREO else "WAVEX"
    )
    if n_channels <= _STEREO:
        return content
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
    return bytes(_pcm24(_blocks(clip), clip.rate_hz, clip.samples.shape[1], "FLAC"))


def rounded24(samples: Floats32) -> Floats32:
    """Samples as they would be read from a 24-bit file of them."""
    return (_steps_of(samples) / _STEPS).astype(np.float32)


def _steps_of(samples: Floats32) -> Floats:
    return np.minimum(np.rint(samples.astype(np.float64) * _STEPS), _STEPS - 1)


def _blocks(clip: Clip) -> Iterator[Floats32]:
    for begin in range(0, clip.n_frames, _BLOCK_FRAMES):
        yield clip.samples[begin : begin + _BLOCK_FRAMES]


def _pcm24(
    blocks: Iterable[Floats32], rate_hz: int, n_channels: int, file_format: str
) -> memoryview:
    """In memory first: the library does not say why it cannot write to a disk that is full."""
    file = io.BytesIO()
    with soundfile.SoundFile(
        file, "w", rate_hz, n_channels, subtype="PCM_24", format=file_format
    ) as out:
        for block in blocks:
            peak = max(float(block.max()), -float(block.min()))
            if not peak <= 1.0:
                raise ValueError(f"a file of 24-bit integers holds up to full scale 1, got {peak}")
            # the library takes the upper 24 of 32 bits
            out.write(_steps_of(block).astype(np.int32) << 8)
    return file.getbuffer()


def read_wav(path: Path) -> Clip:
    """A clip that `write_wav24` wrote.

    Raises
    ------
    RunFolderError
        If the file cannot be read.
    """
    with readable(path):
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return Clip(samples=samples, rate_hz=rate_hz)


@contextmanager
def readable(path: Path) -> Iterator[None]:
    """Tell what cannot be read of the sound of a run in a `with` block, as `RunFolderError`."""
    try:
        yield
    except (OSError, soundfile.SoundFileError) as error:
        raise RunFolderError(path, f"cannot be read ({error}): make the run again.") from error
