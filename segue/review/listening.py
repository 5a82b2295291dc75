"""A whole recording from the disk, and what a review listens for in it: onsets and chroma."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.chroma import chroma_of
from segue.analysis.onsets import HOP_S, RATE_HZ, onset_curves
from segue.audio.adapters import resampled
from segue.audio.clip import Clip
from segue.audio.decode import read_stereo, sound_info
from segue.errors import AudioFileError

if TYPE_CHECKING:
    from pathlib import Path

    from segue.arrays import Floats


# half an hour; more is a whole rehearsal, and its memory; by judgement
LONGEST_TAKE_S: Final = 1800.0
SHORTEST_TAKE_S: Final = 3.0  # less holds no transition; by judgement
ONSET_HOP_S: Final = HOP_S
CHROMA_HOP_S: Final = 0.1  # seconds a step of the chroma; by judgement
_COMPRESSION: Final = 0.5  # exponent that lets weak onsets count too; by judgement


def read_clip(path: Path) -> Clip:
    """A whole sound file, stereo, at its own rate.

    Raises
    ------
    AudioFileError
        If it cannot be read, or is too short or too long for a take.
    """
    info = sound_info(path)
    length_s = info.n_frames / info.rate_hz
    if length_s > LONGEST_TAKE_S:
        raise AudioFileError(
            path,
            f"is {length_s / 60:.0f} minutes long, more than {LONGEST_TAKE_S / 60:.0f}: "
            "cut it to the transition.",
        )
    if length_s < SHORTEST_TAKE_S:
        raise AudioFileError(
            path,
            f"is {length_s:.1f} s long: a take needs {SHORTEST_TAKE_S:g} s or more; "
            "check that it is the right file.",
        )
    samples = read_stereo(info, start_frame=0, n_frames=info.n_frames)
    return Clip(samples=samples, rate_hz=info.rate_hz)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listening:
    """Onset strength and chroma of a recording.

    Parameters
    ----------
    onsets : ndarray, shape (n_hops, n_bands)
        Square root of the strength in each band, every `ONSET_HOP_S`.
    chroma : ndarray, shape (n_steps, 12)
        Every `CHROMA_HOP_S`, of unit length; zero where nothing sounds.
    """

    onsets: Floats
    chroma: Floats
    duration_s: float

    def part(self, start_s: float, end_s: float) -> Listening:
        """What is heard between two times."""
        onsets = slice(round(start_s / ONSET_HOP_S), round(end_s / ONSET_HOP_S))
        chroma = slice(round(start_s / CHROMA_HOP_S), round(end_s / CHROMA_HOP_S))
        return Listening(
            onsets=self.onsets[onsets], chroma=self.chroma[chroma], duration_s=end_s - start_s
        )


def listening_to(clip: Clip, *, tuning_cents: float = 0.0) -> Listening:
    """Listen to a recording.

    Parameters
    ----------
    tuning_cents : float
        How far its music is above A4 = 440 Hz.
    """
    mono = resampled(clip, RATE_HZ).samples.mean(axis=1, dtype=np.float32)
    curves = onset_curves(np.ascontiguousarray(mono))
    _, chroma = chroma_of(clip, tuning_cents=tuning_cents, hop_s=CHROMA_HOP_S)
    return Listening(
        onsets=curves.bands**_COMPRESSION, chroma=_unit(chroma), duration_s=clip.duration_s
    )


def _unit(chroma: Floats) -> Floats:
    length = np.linalg.norm(chroma, axis=1, keepdims=True)
    unit: Floats = np.where(length > 0, chroma / np.maximum(length, 1e-12), 0.0)
    return unit


def bent(row: Floats, index: int) -> float:
    """Where the parabola through a place and its neighbours has its top, -0.5 to 0.5."""
    if not 0 < index < len(row) - 1:
        return 0.0
    a, b, c = row[index - 1 : index + 2]
    bend = a - 2 * b + c
    return float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < 0 else 0.0
