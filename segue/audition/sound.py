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
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.adapters import resampled_blocks
from segue.audio.clip import outline
from segue.errors import RunFolderError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.runfolder import CandidateRecord

N_COLUMNS: Final = 1200
"""Columns of the waveform outline: a phone's width in its own dots."""

MARK_S: Final = 0.05  # of the mark from the start of the sound
LEAD_S: Final = 0.25
"""Music starts here in the encoded sound: far enough from the mark that 0.1 s of padding
(1105 frames of codec delay and a header frame of 1152 frames, at 24 kHz) still fits between."""

MUSIC_RATES_KBPS: Final = (160, 128, 112, 96, 80, 64, 48)
"""Constant bit rates to choose from, so that the size of the page is known beforehand."""

MUSIC_BUDGET_BYTES: Final = 4_200_000
"""All music of a page, encoded as text; leaves room for the other buses within 6 MB."""

BASE64_RATIO: Final = 4 / 3  # four letters for three bytes (RFC 4648)
_N_THREADS: Final = 2  # that encode side by side
_BLOCK_FRAMES: Final = 1 << 18  # frames read at once, to hold little memory
_MARK_AMPLITUDE: Final = 0.5  # of full scale: louder than what an encoder leaves around it
_FULL_SCALE: Final = 127  # the outline is sent as signed bytes
_ROOM_S: Final = 0.1  # behind the longest: a WAV may have a few frames more than its plan
_ALIKE_SIDE_KBPS: Final = "64"  # enough for clicks and single notes; by judgement
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


def bus_mp3s(
    records: Sequence[CandidateRecord],
    sound_of: Callable[[str], Path | Clip],
    *,
    alike: bool = False,
) -> list[tuple[str, bytes]]:
    """Every bus of every record as MP3, under the name that the page knows it by.

    Parameters
    ----------
    sound_of : callable
        The WAV of a name that a record has, or the sound in it; asked once for each.
    alike : bool
        Whether all sounds of a bus shall be of one size, so that it tells nothing: silence is put
        behind the shorter ones, and every second takes as many bytes.

    Returns
    -------
    list of (str, bytes)
        Names such as 'music-0', 'click-0', 'cue-0', in order.
    """
    longest_s = max((record.plan.duration_s for record in records), default=0.0)
    least_s = longest_s + _ROOM_S if alike else 0.0
    lengths_s = [max(record.plan.duration_s, least_s) for record in records]
    quality = str(music_rate_kbps(lengths_s))
    side = _ALIKE_SIDE_KBPS if alike else _SIDE_QUALITY
    buses = [
        bus
        for n, record in enumerate(records)
        for bus in (
            (f"music-{n}", record.music_file, quality, 1),
            # Half the rate is plenty for clicks and single notes.
            (f"click-{n}", record.click_file, side, 2),
            (f"cue-{n}", record.cue_file, side, 2),
        )
    ]

    def encoded(bus: tuple[str, str, str, int]) -> tuple[str, bytes]:
        name, file, quality, rate_divided_by = bus
        return name, _mp3(sound_of(file), quality, rate_divided_by, least_s=least_s)

    with ThreadPoolExecutor(_N_THREADS) as pool:  # the encoder is C and lets others run
        return list(pool.map(encoded, buses))


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


def _mp3(source: Path | Clip, quality: str, rate_divided_by: int, *, least_s: float = 0.0) -> bytes:
    """Sound with the mark at its start, at a whole share of the page's rate."""
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
def _opened(source: Path | Clip) -> Iterator[tuple[int, int, Iterator[npt.NDArray[np.float32]]]]:
    """Rate, channels and sound of a WAV, some of it at a time, to hold little memory."""
    if isinstance(source, Path):
        with _told(source), soundfile.SoundFile(source) as wav:
            blocks = wav.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True)
            yield wav.samplerate, wav.channels, blocks
        return
    samples = source.samples
    starts = range(0, source.n_frames, _BLOCK_FRAMES)
    blocks = (samples[start : start + _BLOCK_FRAMES] for start in starts)
    yield source.rate_hz, samples.shape[1], blocks


def _at_least(
    blocks: Iterable[npt.NDArray[np.float32]], n_channels: int, n_frames: int
) -> Iterator[npt.NDArray[np.float32]]:
    """Sound with silence behind it, where it is shorter than wanted."""
    for block in blocks:
        n_frames -= len(block)
        yield block
    if n_frames > 0:
        yield np.zeros((n_frames, n_channels), dtype=np.float32)


def _lead(rate_hz: int, n_channels: int) -> npt.NDArray[np.float32]:
    """Silence with the mark in it."""
    lead = np.zeros((round(LEAD_S * rate_hz), n_channels), dtype=np.float32)
    lead[round(MARK_S * rate_hz)] = _MARK_AMPLITUDE
    return lead
