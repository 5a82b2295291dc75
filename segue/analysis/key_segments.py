"""An edge cut into segments, as the hearing of its key needs it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import (
    PitchSpectrum,
    note_strengths,
    pitch_spectrum,
    plain_strengths,
    segment_spectra,
)
from segue.analysis.envelope import mono_of
from segue.analysis.tuning import PITCHED_ROLES

if TYPE_CHECKING:
    from segue.analysis.facts import PulseFact
    from segue.audio.clip import Clip, SongEdge

Floats = npt.NDArray[np.float64]

FREE_TIME_CONFIDENCE: Final = 0.3
"""Beats less sure than this are not used."""
_FEWEST_BEATS: Final = 4  # with fewer beats the pulse is not used; by judgement
_FREE_STEP_S: Final = 0.5
"""Length of a segment where there is no pulse."""
_LEVEL_STEP_S: Final = 0.01  # seconds from level to level; by judgement
_ATTACK_STEPS: Final = 4  # steps of the level that an attack rises over, 40 ms; by judgement
_ATTACK_DB: Final = 6.0
"""A rise of level by this within four steps is an attack."""
_BODY_PERCENT: Final = 75.0  # percentile of the levels that stands for the body; by judgement
_QUIET_DB: Final = 20.0
"""Attacks so far below the body of the music are not the band's."""
_FINAL_CHORD_S: Final = 1.0  # seconds after the last attack that tell its chord; by judgement


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
    final_strengths : ndarray, shape (2, n_notes)
        What sounds just after the last attack: everything, and the bass.
    rest : float
        Chance that the music comes to rest there, 0..1; 0 for an opening.
    is_start : bool
        Whether this is the start of a song.
    """

    strengths: Floats
    bass_strengths: Floats
    plain_strengths: Floats
    level: Floats
    downbeat: Floats
    length_s: Floats
    final_strengths: Floats
    rest: float
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
    hit_s, rest = _resting_place(edge.mix) if edge.edge == "end" else (edge.start_s, 0.0)
    final_strengths = note_strengths(np.array([_after(heard, hit_s), _after(bass, hit_s)]))

    def cut(edges_s: Floats) -> Segments:
        spectra = segment_spectra(heard, edges_s)
        strengths = note_strengths(spectra)
        has_stem = bass is not heard
        return Segments(
            strengths=strengths,
            bass_strengths=note_strengths(segment_spectra(bass, edges_s))
            if has_stem
            else strengths,
            plain_strengths=plain_strengths(spectra),
            level=np.linalg.norm(spectra, axis=1),
            downbeat=_downbeat_chances(edges_s, pulse),
            length_s=np.diff(edges_s),
            final_strengths=final_strengths,
            rest=rest,
            is_start=edge.edge == "start",
        )

    return tuple(cut(edges_s) for edges_s in _cuts_s(edge, pulse))


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


def _after(spectrum: PitchSpectrum, hit_s: float) -> Floats:
    """Mean spectrum of the second after an attack."""
    near = (spectrum.times_s >= hit_s) & (spectrum.times_s < hit_s + _FINAL_CHORD_S)
    return np.asarray(spectrum.bins[near if near.any() else slice(-1, None)].mean(axis=0))


def _resting_place(clip: Clip) -> tuple[float, float]:
    """The last attack of the band and the chance that it is a close, not a cut or a fade.

    A close is as loud as the body, dies away, and lasts; the limits are common practice, no
    source.
    """
    level_db = _levels_db(clip)
    body_db = float(np.percentile(level_db, _BODY_PERCENT))
    rise_db = level_db[_ATTACK_STEPS:] - level_db[:-_ATTACK_STEPS]
    is_loud = level_db[_ATTACK_STEPS:] > body_db - _QUIET_DB
    hits = np.flatnonzero((rise_db > _ATTACK_DB) & is_loud)
    if not len(hits):
        return clip.start_s, 0.0
    after_db = level_db[hits[-1] :]
    peak_db, last_db = float(after_db.max()), float(after_db[-5:].mean())
    is_full = np.clip((peak_db - body_db + 9.0) / 6.0, 0.0, 1.0)
    has_died = np.clip((peak_db - last_db - 9.0) / 6.0, 0.0, 1.0)
    has_lasted = np.clip((len(after_db) * _LEVEL_STEP_S - 0.4) / 0.4, 0.0, 1.0)
    hit_s = clip.start_s + float(hits[-1]) * _LEVEL_STEP_S
    return hit_s, float(is_full * has_died * has_lasted)


def _levels_db(clip: Clip) -> Floats:
    """Level every 10 ms, down to -120 dB."""
    step = max(1, round(clip.rate_hz * _LEVEL_STEP_S))
    mono = mono_of(clip.samples)
    n_steps = max(1, -(-len(mono) // step))
    padded = np.pad(mono, (0, n_steps * step - len(mono)))
    power = np.mean(padded.reshape(n_steps, step) ** 2, axis=1, dtype=np.float64)
    return np.asarray(10.0 * np.log10(power + 1e-12))
