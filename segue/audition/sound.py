"""Sound for the page: small, playable in every browser, and in step.

Why MP3: Chromium, Firefox and Safari all decode it, also in `decodeAudioData`
and on old phones; Opus in Ogg came to Safari only in 2025 (from memory).

Encoders and decoders add silence at the start, and whether a browser takes it
off again differs. So every file starts with a mark, a single loud frame at
`MARK_S`; the page finds it in the decoded sound and counts from there.
"""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from itertools import chain
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.outline import outline
from segue.errors import RunFolderError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from segue.runfolder import CandidateRecord

N_COLUMNS: Final = 1200
"""Columns of the waveform outline: a phone's width in its own dots."""

MARK_S: Final = 0.05
LEAD_S: Final = 0.25
"""Music starts here in the encoded sound: far enough from the mark that 0.1 s of padding
(1105 frames of codec delay and a header frame of 1152 frames, at 24 kHz) still fits between."""

MUSIC_RATES_KBPS: Final = (160, 128, 112, 96, 80, 64, 48)
"""Constant bit rates to choose from, so that the size of the page is known beforehand."""

MUSIC_BUDGET_BYTES: Final = 4_200_000
"""All music of a page, encoded as text; leaves room for the other buses within 6 MB."""

BASE64_RATIO: Final = 4 / 3
_N_THREADS: Final = 2
_BLOCK_FRAMES: Final = 1 << 18
_MARK_AMPLITUDE: Final = 0.5
_FULL_SCALE: Final = 127
_SIDE_QUALITY: Final = "V5"
"""Variable bit rate, as they are silent for most of the time; middling of LAME's V0 to V9."""


def sound_rate_hz(rate_hz: int) -> int:
    """The rate of the music on the page: 44.1 or 48 kHz, which MP3 has.

    Parameters
    ----------
    rate_hz : int
        Of the WAVs.

    Returns
    -------
    int
        Clicks and cues have half of it.
    """
    return 44_100 if rate_hz == 44_100 else 48_000  # noqa: PLR2004 - the rate of the compact disc


def music_rate_kbps(durations_s: Iterable[float]) -> int:
    """The highest bit rate at which all the music fits its budget.

    Parameters
    ----------
    durations_s : iterable of float
        Of every candidate.

    Returns
    -------
    int
        One of `MUSIC_RATES_KBPS`; the lowest where none fits.

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


def bus_mp3s(folder: Path, records: Sequence[CandidateRecord]) -> list[tuple[str, bytes]]:
    """Every bus of every record as MP3, under the name that the page knows it by.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the records name.

    Returns
    -------
    list of (str, bytes)
        Names such as 'music-0', 'click-0', 'cue-0', in order.
    """
    quality = str(music_rate_kbps(record.plan.duration_s for record in records))
    buses = [
        bus
        for n, record in enumerate(records)
        for bus in (
            (f"music-{n}", folder / record.music_file, quality, 1),
            # Half the rate is plenty for clicks and single notes.
            (f"click-{n}", folder / record.click_file, _SIDE_QUALITY, 2),
            (f"cue-{n}", folder / record.cue_file, _SIDE_QUALITY, 2),
        )
    ]
    with ThreadPoolExecutor(_N_THREADS) as pool:  # the encoder is C and lets others run
        return list(pool.map(lambda bus: (bus[0], _mp3(*bus[1:])), buses))


def duration_of(path: Path) -> float:
    """Length of a WAV in seconds."""
    with _told(path):
        facts = soundfile.info(path)
    return float(facts.frames) / float(facts.samplerate)


def outline_of(path: Path) -> list[int]:
    """Waveform outline of a WAV.

    Returns
    -------
    list of int
        Lowest and highest value of each column in turn, -127..127.
    """
    samples, _ = read_wav(path)
    _, low, high = outline(samples, N_COLUMNS)
    both = np.clip(np.stack([low, high], axis=1), -1.0, 1.0) * _FULL_SCALE
    return [int(v) for v in np.rint(both).ravel()]


def read_wav(path: Path) -> tuple[npt.NDArray[np.float32], int]:
    """Samples and rate of a WAV of a run.

    Raises
    ------
    RunFolderError
        If there is no such file, or it is no sound.
    """
    with _told(path):
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return samples, rate_hz


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, soundfile.SoundFileError) as error:
        raise RunFolderError(path, f"cannot be read ({error}): make the run again.") from error


def _mp3(path: Path, quality: str, rate_divided_by: int) -> bytes:
    """A WAV with the mark at its start, at a whole share of the page's rate."""
    # pedalboard: the same sound as libsndfile at the same rate, in a quarter of the time.
    from pedalboard.io import AudioFile

    buffer = io.BytesIO()
    with _told(path), soundfile.SoundFile(path) as wav:
        rate_hz = sound_rate_hz(wav.samplerate) // rate_divided_by
        with AudioFile(
            buffer, "w", rate_hz, wav.channels, format="mp3", quality=quality
        ) as encoder:
            for block in chain([_lead(rate_hz, wav.channels)], _blocks_at(wav, rate_hz)):
                if len(block):
                    encoder.write(np.ascontiguousarray(block.T))
    return buffer.getvalue()


def _blocks_at(wav: soundfile.SoundFile, to_hz: int) -> Iterator[npt.NDArray[np.float32]]:
    """The sound of a WAV at a rate, some of it at a time, to hold little memory."""
    blocks = wav.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True)
    if wav.samplerate == to_hz:
        yield from blocks
        return
    import soxr

    stream = soxr.ResampleStream(wav.samplerate, to_hz, wav.channels, dtype="float32")
    for block in blocks:
        yield stream.resample_chunk(block)
    rest = np.zeros((0, wav.channels), dtype=np.float32)
    yield stream.resample_chunk(rest, last=True)


def _lead(rate_hz: int, n_channels: int) -> npt.NDArray[np.float32]:
    """Silence with the mark in it."""
    lead = np.zeros((round(LEAD_S * rate_hz), n_channels), dtype=np.float32)
    lead[round(MARK_S * rate_hz)] = _MARK_AMPLITUDE
    return lead
