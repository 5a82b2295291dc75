"""Sound as MP3 that every browser plays in step, although its codecs pad the start.

Why MP3: Chromium, Firefox and Safari all decode it, also in `decodeAudioData`
and on old phones; Opus in Ogg came to Safari only in 2025 (from memory).

Encoders and decoders add silence at the start, and whether a browser takes it
off again differs. So every file starts with a mark, a single loud frame at
`MARK_S`; the page finds it in the decoded sound and counts from there.
"""

from __future__ import annotations

import io
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.adapters import resampled_blocks

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from segue.arrays import Floats32
    from segue.audio.clip import Clip

MARK_S: Final = 0.05  # of the mark from the start of the sound
LEAD_S: Final = 0.25
"""Music starts here in the encoded sound: far enough from the mark that 0.1 s of padding
(1105 frames of codec delay and a header frame of 1152 frames, at 24 kHz) still fits between."""

MUSIC_RATES_KBPS: Final = (160, 128, 112, 96, 80, 64, 48)
"""Constant bit rates to choose from, so that the size of the page is known beforehand."""

MUSIC_BUDGET_BYTES: Final = 4_200_000
"""All music of a page, encoded as text; leaves room for clicks and cues within 6 MB."""

BASE64_RATIO: Final = 4 / 3  # four letters for three bytes (RFC 4648)
_BLOCK_FRAMES: Final = 1 << 18  # frames read at once, to hold little memory
_MARK_AMPLITUDE: Final = 0.5  # of full scale: louder than what an encoder leaves around it


def sound_rate_hz(rate_hz: int) -> int:
    """The rate of music on a page: 44.1 or 48 kHz, which MP3 has.

    Parameters
    ----------
    rate_hz : int
        Of the WAVs.
    """
    return 44_100 if rate_hz == 44_100 else 48_000  # noqa: PLR2004 - the rate of the compact disc


def music_rate_kbps(durations_s: Iterable[float]) -> int:
    """The highest bit rate at which all the music fits its budget.

    One of `MUSIC_RATES_KBPS`; the lowest where none fits.

    Parameters
    ----------
    durations_s : iterable of float
        Of everything on the page.

    Examples
    --------
    >>> music_rate_kbps([60.0, 60.0, 60.0]), music_rate_kbps([600.0] * 3)
    (128, 48)
    """
    total_s = sum(durations_s)
    for rate_kbps in MUSIC_RATES_KBPS:
        if total_s * rate_kbps * 125 * BASE64_RATIO <= MUSIC_BUDGET_BYTES:
            return rate_kbps
    return MUSIC_RATES_KBPS[-1]


def marked_mp3(
    source: Path | Clip, quality: str, *, rate_divided_by: int = 1, least_s: float = 0.0
) -> bytes:
    """Sound with the mark at its start, at a whole share of the page's rate.

    Parameters
    ----------
    source : Path or Clip
        A sound file, or sound.
    quality : str
        A constant bit rate in kbit/s ('128'), or LAME's variable one ('V5').
    least_s : float
        Silence is put behind what is shorter.

    Raises
    ------
    OSError, soundfile.SoundFileError
        If the file cannot be read.
    """
    # pedalboard: the same sound as libsndfile at the same rate, in a quarter of the time.
    from pedalboard.io import AudioFile

    buffer = io.BytesIO()
    with _opened(source) as (wav_hz, n_channels, blocks):
        rate_hz = sound_rate_hz(wav_hz) // rate_divided_by
        with AudioFile(buffer, "w", rate_hz, n_channels, format="mp3", quality=quality) as encoder:
            at_its_rate = resampled_blocks(blocks, n_channels, from_hz=wav_hz, to_hz=rate_hz)
            whole = _at_least(at_its_rate, n_channels, round(least_s * rate_hz))
            for block in chain([_lead(rate_hz, n_channels)], whole):
                if len(block):
                    encoder.write(np.ascontiguousarray(block.T))
    return buffer.getvalue()


@contextmanager
def _opened(source: Path | Clip) -> Iterator[tuple[int, int, Iterator[Floats32]]]:
    """Rate, channels and sound of a WAV, some of it at a time, to hold little memory."""
    if isinstance(source, Path):
        with soundfile.SoundFile(source) as wav:
            blocks = wav.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True)
            yield wav.samplerate, wav.channels, blocks
        return
    samples = source.samples
    starts = range(0, source.n_frames, _BLOCK_FRAMES)
    blocks = (samples[start : start + _BLOCK_FRAMES] for start in starts)
    yield source.rate_hz, samples.shape[1], blocks


def _at_least(blocks: Iterable[Floats32], n_channels: int, n_frames: int) -> Iterator[Floats32]:
    """Sound with silence behind it, where it is shorter than wanted."""
    for block in blocks:
        n_frames -= len(block)
        yield block
    if n_frames > 0:
        yield np.zeros((n_frames, n_channels), dtype=np.float32)


def _lead(rate_hz: int, n_channels: int) -> Floats32:
    """Silence with the mark in it."""
    lead = np.zeros((round(LEAD_S * rate_hz), n_channels), dtype=np.float32)
    lead[round(MARK_S * rate_hz)] = _MARK_AMPLITUDE
    return lead
