"""One audio file: what it holds, and any stretch of it as stereo.

`sound_info` looks at headers only (of Ogg, at those of all pages); `read_stereo` decodes
only the frames asked for. Both refuse whatever is not whole, plain, readable audio, in one
sentence.

References
----------
.. [RFC3533] S. Pfeiffer, "The Ogg encapsulation format version 0", RFC 3533, 2003, section 6.
"""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from mmap import ACCESS_READ, mmap
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import soundfile

from segue.audio.adapters import MAX_CHANNELS, stereo_matrix
from segue.audio.mp3 import Mp3Index, mp3_index, read_mp3, starts_as_mp3
from segue.errors import AudioFileError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.arrays import Floats32

MIN_RATE_HZ: Final = 8_000  # telephone sound; lower rates hold no music
MAX_RATE_HZ: Final = 192_000  # the highest rate of common recorders
READABLE: Final = "WAV, FLAC, AIFF, Ogg Vorbis, Ogg Opus or MP3"

LARGEST_SAMPLE: Final = 1000.0
"""60 dB over full scale: no mix is that hot, and whole numbers taken for floats are. Set by
judgement."""
_NOTHING: Final = 2.0**-32
"""Half a step of 32-bit samples, 193 dB under full scale: what is below it, down to numbers that
lose their precision, is silence."""
_BLOCK_FRAMES: Final = 1 << 16  # frames decoded at once, to hold little memory
_STREAMED_BYTES: Final = 0x7FFFF000
"""Chunk sizes from here up are what a program writes when it cannot know the length."""
_SHORT_CHUNK = re.compile(r"^\s*(?:data|SSND)\s*: (\d+) \(should be (\d+)\)", re.MULTILINE)
# The last page of a stream, at most 65,307 bytes, starts within this
_OGG_TAIL_BYTES: Final = 1 << 16
_OGG_LAST_PAGE: Final = 4
"""Bit of an Ogg page's header type that marks the end of the stream [RFC3533]_."""


_OGG_FIRST_PAGE: Final = 2  # bit of the header type of a stream's first page [RFC3533]_
_OGG_HEADER_BYTES: Final = 27  # before the lengths of a page's segments [RFC3533]_
_BW64: Final = b"BW64"  # first bytes of a file of ITU-R BS.2088
_MOST_FRAMES: Final = 7 * 86_400 * MAX_RATE_HZ
"""A week at the highest rate: longer is what a library says that knows no length."""
_OGG_LAST_PAGE_S: Final = 1.0
"""A page of an Ogg stream holds about this much at most (common practice of encoders)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundInfo:
    """What the headers of an audio file say.

    Parameters
    ----------
    order : {'wave', 'vorbis'}
        Which convention names the channels.
    mp3 : Mp3Index or None
        Where the frames of an MP3 file lie; None for other formats.
    has_end : bool
        False for an Ogg stream without its end mark: it may have been cut off, but there are
        whole songs that were written so.
    """

    path: Path
    rate_hz: int
    n_frames: int
    n_channels: int
    order: Literal["wave", "vorbis"]
    mp3: Mp3Index | None = None
    has_end: bool = True


def sound_info(path: Path) -> SoundInfo:
    """What an audio file holds, from its headers.

    Parameters
    ----------
    path : Path
        A regular file, or a link to one.

    Raises
    ------
    AudioFileError
        If it is not a whole audio file within our limits.
    """
    _refuse_unreadable(path)
    # What such a file holds is in its packets; the library would print its own doubts about them
    index = mp3_index(path) if starts_as_mp3(path) else None
    if index is not None:
        info = _mp3_info(path, index)
        _refuse_out_of_range(info)
        _refuse_cut_off(info, log="")
        return info
    try:
        with soundfile.SoundFile(_place(path)) as file:
            index = mp3_index(path) if file.subtype == "MPEG_LAYER_III" else None  # also in a WAV
            info = SoundInfo(
                path=path,
                rate_hz=file.samplerate,
                n_frames=file.frames if index is None else index.n_frames,
                n_channels=file.channels,
                order="vorbis" if file.format == "OGG" else "wave",
                mp3=index,
                has_end=file.format != "OGG" or _ends_its_ogg_stream(path),
            )
            log = file.extra_info
    except (soundfile.SoundFileError, TypeError) as error:  # TypeError: headerless '.raw'
        raise AudioFileError(path, _why_unreadable(path)) from error
    _refuse_out_of_range(info)
    _refuse_cut_off(info, log)
    return info


def _mp3_info(path: Path, index: Mp3Index) -> SoundInfo:
    return SoundInfo(
        path=path,
        rate_hz=index.rate_hz,
        n_frames=index.n_frames,
        n_channels=index.n_channels,
        order="wave",
        mp3=index,
    )


def read_stereo(info: SoundInfo, *, start_frame: int, n_frames: int) -> Floats32:
    """A stretch of an audio file as stereo, without decoding what lies before it.

    Parameters
    ----------
    start_frame, n_frames : int
        The stretch, in frames of the file; within its length.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
        Full scale ±1; values above full scale are kept.

    Raises
    ------
    AudioFileError
        If the file ends early or holds values that are not numbers.
    """
    matrix = stereo_matrix(info.n_channels, order=info.order)
    is_stereo = np.array_equal(matrix, np.eye(2))
    stereo = np.zeros((n_frames, 2), dtype=np.float32)
    done = 0
    try:
        for block in _blocks(info, start_frame, n_frames):
            _refuse_not_finite(info, block, start_frame + done)
            mixed = block if is_stereo else block.astype(np.float64) @ matrix
            stereo[done : done + len(block)] = np.where(np.abs(mixed) < _NOTHING, 0.0, mixed)
            done += len(block)
    except soundfile.SoundFileError as error:
        raise _cut_off(info.path, (start_frame + done) / info.rate_hz) from error
    if done < n_frames and not _is_overstated(info, start_frame + done):
        raise _cut_off(info.path, (start_frame + done) / info.rate_hz)
    return stereo


def _is_overstated(info: SoundInfo, at_frame: int) -> bool:
    """Whether an Ogg stream is over, though its last page promises a little more."""
    missing_s = (info.n_frames - at_frame) / info.rate_hz
    return info.order == "vorbis" and missing_s < _OGG_LAST_PAGE_S


def _blocks(info: SoundInfo, start: int, n_frames: int) -> Iterator[Floats32]:
    if info.mp3 is not None:
        yield read_mp3(info.path, info.mp3, start_frame=start, n_frames=n_frames)
        return
    with soundfile.SoundFile(_place(info.path)) as file:
        file.seek(start)
        while n_frames > 0:
            block = file.read(min(n_frames, _BLOCK_FRAMES), dtype="float32", always_2d=True)
            if not len(block):
                return
            n_frames -= len(block)
            yield block


def _place(path: Path) -> str | bytes:
    """A path as the library takes it: a name that is no text passes as its bytes."""
    return str(path) if os.name == "nt" else os.fsencode(path)


def _refuse_unreadable(path: Path) -> None:
    """Refuse what cannot be opened, before opening: a pipe would wait for ever."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise AudioFileError(path, "is a pipe or device, not a file; save the sound to a file.")
        with path.open("rb"):
            pass
    except FileNotFoundError as error:
        raise AudioFileError(path, "does not exist; check the spelling.") from error
    except PermissionError as error:
        raise AudioFileError(
            path, "may not be read by you; change its permissions or copy it."
        ) from error
    except OSError as error:
        raise AudioFileError(
            path, f"cannot be opened ({error.strerror}); copy it to a local disk."
        ) from error
    except ValueError as error:  # a null character in the name
        raise AudioFileError(path, f"cannot be opened ({error}); rename it.") from error
    if status.st_size == 0:
        raise AudioFileError(path, "is an empty file (0 bytes); export or copy it again.")


def _why_unreadable(path: Path) -> str:
    with path.open("rb") as file:
        is_bw64 = file.read(len(_BW64)) == _BW64
    if is_bw64:
        return "is a BW64 file, which cannot be read yet; export it as plain WAV, RF64 or FLAC."
    return f"is not audio that can be read; export it as {READABLE}."


def _refuse_out_of_range(info: SoundInfo) -> None:
    if info.n_frames > _MOST_FRAMES:
        raise AudioFileError(
            info.path,
            "does not say how long it is, as sound that was recorded from a stream; save it once "
            "more in an audio program.",
        )
    if info.order == "vorbis" and _is_chained(info.path):
        raise AudioFileError(
            info.path, "is several Ogg streams one after the other; export it as one."
        )
    if info.n_frames <= 0:
        raise AudioFileError(info.path, "holds no sound (0 frames); export it again.")
    if not MIN_RATE_HZ <= info.rate_hz <= MAX_RATE_HZ:
        raise AudioFileError(
            info.path,
            f"has a sample rate of {info.rate_hz} Hz, outside {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz; "
            "export it at 48000 Hz.",
        )
    if info.n_channels > MAX_CHANNELS:
        raise AudioFileError(
            info.path,
            f"has {info.n_channels} channels, more than {MAX_CHANNELS}; export a stereo mix, "
            "or one file a stem.",
        )


def _refuse_cut_off(info: SoundInfo, log: str) -> None:
    """Refuse a file that stops before the length its own header gives."""
    if info.mp3 is not None and info.mp3.is_cut_off:
        raise _cut_off(info.path, info.n_frames / info.rate_hz)
    claim = _SHORT_CHUNK.search(log)
    if claim and int(claim[2]) < int(claim[1]) < _STREAMED_BYTES:
        raise _cut_off(info.path, info.n_frames / info.rate_hz)


def _ends_its_ogg_stream(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _OGG_TAIL_BYTES))
        tail = file.read()
    page = tail.rfind(b"OggS")
    return page < 0 or len(tail) < page + 6 or bool(tail[page + 5] & _OGG_LAST_PAGE)


def _is_chained(path: Path) -> bool:
    """Whether another stream starts after the first has begun to play [RFC3533]_."""
    has_begun = False
    with path.open("rb") as file, mmap(file.fileno(), 0, access=ACCESS_READ) as pages:
        at = 0
        while pages[at : at + 4] == b"OggS" and at + _OGG_HEADER_BYTES <= len(pages):
            is_first = bool(pages[at + 5] & _OGG_FIRST_PAGE)
            if is_first and has_begun:
                return True
            has_begun |= not is_first
            n_segments = pages[at + 26]
            lacing = pages[at + _OGG_HEADER_BYTES : at + _OGG_HEADER_BYTES + n_segments]
            at += _OGG_HEADER_BYTES + n_segments + sum(lacing)
    return False


def _refuse_not_finite(info: SoundInfo, block: Floats32, at_frame: int) -> None:
    is_sound = np.abs(block) <= LARGEST_SAMPLE  # false for what is no number, too
    if is_sound.all():
        return
    frame, channel = np.argwhere(~is_sound)[0]
    value = block[frame, channel]
    where = f"{(at_frame + frame) / info.rate_hz:.3f} s, channel {channel + 1}"
    if np.isfinite(value):
        raise AudioFileError(
            info.path,
            f"holds a value of {value:.3g} at {where}, where full scale is 1; were whole numbers "
            "saved as floating point? Export it again.",
        )
    raise AudioFileError(
        info.path, f"holds a value that is no finite number ({value}) at {where}; export it again."
    )


def _cut_off(path: Path, at_s: float) -> AudioFileError:
    return AudioFileError(
        path, f"is cut off: its sound stops at {at_s:.3f} s; copy or export it again."
    )
