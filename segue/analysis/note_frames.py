"""Notes in registers, segment by segment: what speaks for a key is read from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import LOWEST_MIDI, N_NOTES, folded

if TYPE_CHECKING:
    from segue.analysis.key_segments import Segments

Floats = npt.NDArray[np.float64]

REGISTERS: Final = (
    (28.0, 28.0, 47.0, 57.0),
    (47.0, 57.0, 62.0, 69.0),
    (62.0, 69.0, 74.0, 81.0),
    (74.0, 81.0, 110.0, 110.0),
)
"""MIDI pitches at which each register begins, is whole, begins to end, and is over."""
_LEAST: Final = 1e-6  # keeps divisions by a sum away from zero


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoteFrames:
    """One cut of an edge.

    Parameters
    ----------
    notes : ndarray, shape (n_segments, 5, 12)
        Square roots of the share of each pitch class in four registers, notes credited
        with their overtones, and in the whitened spectrum as it is.
    level : ndarray, shape (n_segments,)
        Octaves of magnitude above the median segment.
    downbeat : ndarray, shape (n_segments,)
        Chance that a bar starts there.
    length_s : ndarray, shape (n_segments,)
    is_start : bool
        Whether this is the start of a song.
    """

    notes: Floats
    level: Floats
    downbeat: Floats
    length_s: Floats
    is_start: bool


def note_frames(segments: Segments) -> NoteFrames:
    """Which notes sound in a cut of an edge, and how loud it is."""
    registers = np.stack(
        [folded(segments.strengths * weight) for weight in register_weights()], axis=1
    )
    if segments.bass_strengths is not segments.strengths:  # a stem of its own has the roots
        registers[:, 0] = folded(segments.bass_strengths)
    registers /= registers.sum(axis=(1, 2), keepdims=True) + _LEAST
    plain = folded(segments.plain_strengths)
    plain /= plain.sum(axis=1, keepdims=True) + _LEAST
    silence = np.finfo(np.float64).tiny ** 0.1
    level = np.log2((segments.level + silence) / (np.median(segments.level) + silence))
    return NoteFrames(
        notes=np.sqrt(np.concatenate([registers, plain[:, None]], axis=1)),
        level=level,
        downbeat=segments.downbeat,
        length_s=segments.length_s,
        is_start=segments.is_start,
    )


def register_weights() -> list[Floats]:
    """How much each note counts in each register, each of shape (n_notes,)."""
    midi = LOWEST_MIDI + np.arange(N_NOTES, dtype=np.float64)
    weights = []
    for begins, whole, ends, over in REGISTERS:
        rise = np.clip((midi - begins) / (whole - begins), 0.0, 1.0) if whole > begins else 1.0
        fall = np.clip((over - midi) / (over - ends), 0.0, 1.0) if over > ends else 1.0
        weights.append(np.minimum(rise, 1.0) * fall)
    return weights
