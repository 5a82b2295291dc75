"""Sound for the page: small, playable in every browser, and in step.

How it is kept in step stands in `segue.audio.marked_mp3`.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import outline
from segue.audio.marked_mp3 import marked_mp3, music_rate_kbps
from segue.errors import RunFolderError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.runfolder import CandidateRecord

N_COLUMNS: Final = 1200
"""Columns of the waveform outline: a phone's width in its own dots."""

_N_THREADS: Final = 2  # that encode side by side
_FULL_SCALE: Final = 127  # the outline is sent as signed bytes
_ROOM_S: Final = 0.1  # behind the longest: a WAV may have a few frames more than its plan
_ALIKE_SIDE_KBPS: Final = "64"  # enough for clicks and single notes; by judgement
_SIDE_QUALITY: Final = "V5"
"""Variable bit rate, as they are silent for most of the time; middling of LAME's V0 to V9."""


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
        source = sound_of(file)
        with _told(source if isinstance(source, Path) else Path(file)):
            return name, marked_mp3(
                source, quality, rate_divided_by=rate_divided_by, least_s=least_s
            )

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
