"""What a review listens for in a recording: onsets, and chroma in short steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.chroma import chroma_of
from segue.analysis.onsets import HOP_S, RATE_HZ, onset_curves
from segue.audio.adapters import resampled

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip

    Floats = npt.NDArray[np.float64]

ONSET_HOP_S: Final = HOP_S
CHROMA_HOP_S: Final = 0.1
_COMPRESSION: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listening:
    """Onset strength and chroma of a recording.

    Parameters
    ----------
    onsets : ndarray, shape (n_hops, n_bands)
        Square root of the strength in each band, every `ONSET_HOP_S`.
    chroma : ndarray, shape (n_steps, 12)
        Every `CHROMA_HOP_S`, of unit length; zero where nothing sounds.
    duration_s : float
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
    clip : Clip
        Any rate and channels.
    tuning_cents : float
        How far its music is above A4 = 440 Hz.

    Returns
    -------
    Listening
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
