"""An edge cut into segments, and the notes of each in registers: what speaks for a key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.chroma import (
    LOWEST_MIDI,
    N_NOTES,
    folded,
    note_strengths,
    pitch_spectrum,
    plain_strengths,
    segment_spectra,
)
from segue.analysis.tuning import PITCHED_ROLES

if TYPE_CHECKING:
    from segue.analysis.chroma import PitchSpectrum
    from segue.analysis.facts import PulseFact
    from segue.arrays import Floats
    from segue.audio.clip import Clip, SongEdge


FREE_TIME_CONFIDENCE: Final = 0.3
"""Beats less sure than this are not used."""
_FEWEST_BEATS: Final = 4  # with fewer beats the pulse is not used; by judgement
_FREE_STEP_S: Final = 0.5
"""Length of a segment where there is no pulse."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segments:
    """An edge cut into segments.

    Parameters
    ----------
    strengths : ndarray, shape (n_segments, n_notes)
        Note strengths of everything pitched.
    bass_strengths : ndarray, shape (n_segments, n_notes)
        The same of the bass stem; of everything where there is none.
    plain_strengths : ndarray, shape (n_segments, n_notes)
        The whitened spectrum at each note, overtones left where they are.
    level : ndarray, shape (n_segments,)
        Magnitude of what is pitched, in any unit.
    downbeat : ndarray, shape (n_segments,)
        Chance that a bar starts there.
    length_s : ndarray, shape (n_segments,)
    is_start : bool
        Whether this is the start of a song.
    """

    strengths: Floats
    bass_strengths: Floats
    plain_strengths: Floats
    level: Floats
    downbeat: Floats
    length_s: Floats
    is_start: bool


def hear_segments(edge: SongEdge, pulse: PulseFact, *, tuning_cents: float) -> tuple[Segments, ...]:
    """The notes of an edge, cut into half seconds, and into beats where they are sure enough.

    Parameters
    ----------
    pulse : PulseFact
        Beats and downbeats; they may be missing or unsure.
    tuning_cents : float
        How far the music is above A4 = 440 Hz.

    Returns
    -------
    tuple of Segments
        One or two ways to cut the edge; none where every stem is drums.
    """
    clip, bass_clip = edge.sum_of(*PITCHED_ROLES), edge.sum_of("bass")
    if clip is None:
        return ()
    heard = bass = pitch_spectrum(clip, tuning_cents=tuning_cents)
    if bass_clip is not None:
        bass = pitch_spectrum(bass_clip, tuning_cents=tuning_cents)

    return tuple(
        _cut(
            (heard, bass),
            edges_s,
            downbeat=_downbeat_chances(edges_s, pulse),
            is_start=edge.edge == "start",
        )
        for edges_s in _cuts_s(edge, pulse)
    )


def around_segments(clip: Clip, *, tuning_cents: float, is_start: bool) -> Segments:
    """The notes of another stretch of the song, cut into half seconds.

    Parameters
    ----------
    clip : Clip
        Everything pitched.
    is_start : bool
        Whether it is nearer to the start of the song than to its end.
    """
    heard = pitch_spectrum(clip, tuning_cents=tuning_cents)
    edges_s = np.arange(clip.start_s, clip.end_s + _FREE_STEP_S, _FREE_STEP_S)
    no_bars = np.zeros(len(edges_s) - 1)
    return _cut((heard, heard), edges_s, downbeat=no_bars, is_start=is_start)


def _cut(
    spectra: tuple[PitchSpectrum, PitchSpectrum],
    edges_s: Floats,
    *,
    downbeat: Floats,
    is_start: bool,
) -> Segments:
    """Spectra of everything and of the bass, from each moment to the next."""
    heard, bass = spectra
    segments = segment_spectra(heard, edges_s)
    strengths = note_strengths(segments)
    low = strengths if bass is heard else note_strengths(segment_spectra(bass, edges_s))
    return Segments(
        strengths=strengths,
        bass_strengths=low,
        plain_strengths=plain_strengths(segments),
        level=np.linalg.norm(segments, axis=1),
        downbeat=downbeat,
        length_s=np.diff(edges_s),
        is_start=is_start,
    )


def _cuts_s(edge: SongEdge, pulse: PulseFact) -> list[Floats]:
    """Half seconds, and beats continued evenly to both ends of the edge."""
    cuts_s = [np.arange(edge.start_s, edge.end_s + _FREE_STEP_S, _FREE_STEP_S)]
    beats_s = np.array(pulse.beats_s)
    if pulse.confidence >= FREE_TIME_CONFIDENCE and len(beats_s) >= _FEWEST_BEATS:
        beat_s = float(np.median(np.diff(beats_s)))
        before = np.arange(beats_s[0] - beat_s, edge.start_s, -beat_s)[::-1]
        after = np.arange(beats_s[-1] + beat_s, edge.end_s, beat_s)
        cuts_s.append(np.concatenate([before, beats_s, after]))
    return cuts_s


def _downbeat_chances(edges_s: Floats, pulse: PulseFact) -> Floats:
    """Chance of each segment to start a bar: the pulse's own confidence where it says so."""
    is_told = np.isin(edges_s[:-1], pulse.downbeats_s)
    return np.where(is_told, pulse.downbeat_confidence, 0.0)


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
