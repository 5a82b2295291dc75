"""Sound for the page: small, and playable in every browser."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

if TYPE_CHECKING:
    from pathlib import Path

N_COLUMNS: Final = 1000
_FULL_SCALE: Final = 127
_MP3_QUALITY: Final = 0.4
"""libsndfile's compression level for variable bit rate; about 130 kbit/s on full mixes."""


def mp3_of(path: Path) -> bytes:
    """A WAV as MP3, which every browser decodes.

    Parameters
    ----------
    path : Path
        A WAV file at a rate that MP3 has; others are resampled to 48 kHz.

    Returns
    -------
    bytes
    """
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    if rate_hz not in (44_100, 48_000):
        import soxr

        samples, rate_hz = soxr.resample(samples, rate_hz, 48_000), 48_000
    buffer = io.BytesIO()
    soundfile.write(
        buffer,
        samples,
        rate_hz,
        format="MP3",
        subtype="MPEG_LAYER_III",
        bitrate_mode="VARIABLE",
        compression_level=_MP3_QUALITY,
    )
    return buffer.getvalue()


def outline_of(path: Path) -> tuple[float, list[int]]:
    """Duration and waveform outline of a WAV.

    Parameters
    ----------
    path : Path

    Returns
    -------
    float
        Length in seconds.
    list of int
        Lowest and highest value of each column in turn, -127..127.
    """
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    edges = np.linspace(0, len(samples), N_COLUMNS + 1).astype(int)[:-1]
    low = np.minimum.reduceat(samples.min(axis=1), edges)
    high = np.maximum.reduceat(samples.max(axis=1), edges)
    both = np.clip(np.stack([low, high], axis=1), -1.0, 1.0) * _FULL_SCALE
    return len(samples) / rate_hz, [int(v) for v in np.rint(both).ravel()]
