"""The key of an edge."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import (
    PitchSpectrum,
    note_strengths,
    pitch_spectrum,
    segment_spectra,
)
from segue.analysis.facts import KeyFact, KeyWeight, PulseFact
from segue.analysis.key_evidence import EVIDENCE, Segments, key_evidence
from segue.analysis.tuning import PITCHED_ROLES
from segue.music.key import ALL_KEYS
from segue.music.profiles import ROCK_HARMONY, profile_correlations

if TYPE_CHECKING:
    from segue.audio.clip import Clip, SongEdge

Floats = npt.NDArray[np.float64]
_N_RUNNERS_UP: Final = 4
_FREE_TIME_CONFIDENCE: Final = 0.3
_FREE_STEP_S: Final = 0.5
_LEVEL_STEP_S: Final = 0.01


def hear_key(edge: SongEdge, pulse: PulseFact, *, tuning_cents: float) -> KeyFact:
    """The key of an edge."""
    segments = hear_segments(edge, pulse, tuning_cents=tuning_cents)
    if segments is None:
        return _fact(np.full(len(ALL_KEYS), 1 / len(ALL_KEYS)))
    evidence = key_evidence(segments)
    score = 12.0 * profile_correlations(evidence[0], ROCK_HARMONY)
    score += 6.0 * profile_correlations(evidence[2], ROCK_HARMONY)
    likely = np.exp(score - score.max())
    return _fact(likely / likely.sum())


def hear_segments(edge: SongEdge, pulse: PulseFact, *, tuning_cents: float) -> Segments | None:
    """The edge cut into beats; None where nothing is pitched."""
    clip = edge.sum_of(*PITCHED_ROLES)
    if clip is None:
        return None
    bass_clip = edge.sum_of("bass")
    spectrum = pitch_spectrum(clip, tuning_cents=tuning_cents)
    bass = spectrum if bass_clip is None else pitch_spectrum(bass_clip, tuning_cents=tuning_cents)
    edges_s = _segment_edges_s(edge, pulse)
    hit_s, rest = _resting_place(edge.mix) if edge.edge == "end" else (edge.start_s, 0.0)
    spectra = segment_spectra(spectrum, edges_s)
    strengths = note_strengths(spectra)
    return Segments(
        strengths=strengths,
        bass_strengths=strengths
        if bass is spectrum
        else note_strengths(segment_spectra(bass, edges_s)),
        level=np.linalg.norm(spectra, axis=1),
        downbeat=_downbeat_chances(edges_s, pulse),
        final_strengths=note_strengths(np.array([_after(spectrum, hit_s), _after(bass, hit_s)])),
        rest=rest,
        is_start=edge.edge == "start",
    )


def _segment_edges_s(edge: SongEdge, pulse: PulseFact) -> Floats:
    beats = np.array(pulse.beats_s)
    if pulse.confidence < _FREE_TIME_CONFIDENCE or len(beats) < 4:
        return np.arange(edge.start_s, edge.end_s + _FREE_STEP_S, _FREE_STEP_S)
    beat_s = float(np.median(np.diff(beats)))
    before = np.arange(beats[0] - beat_s, edge.start_s, -beat_s)[::-1]
    after = np.arange(beats[-1] + beat_s, edge.end_s, beat_s)
    return np.concatenate([before, beats, after])


def _downbeat_chances(edges_s: Floats, pulse: PulseFact) -> Floats:
    """Chance of each segment to start a bar: the pulse's own confidence where it says so."""
    said = np.isin(edges_s[:-1], pulse.downbeats_s)
    return np.where(said, pulse.downbeat_confidence, 0.0)


def _after(spectrum: PitchSpectrum, hit_s: float) -> Floats:
    """Mean spectrum of the second after an attack, the louder hops more."""
    near = (spectrum.times_s >= hit_s) & (spectrum.times_s < hit_s + 1.0)
    return np.asarray(spectrum.bins[near if near.any() else slice(-1, None)].mean(axis=0))


def _resting_place(clip: Clip) -> tuple[float, float]:
    """The last attack of the band and the chance that it is a close, not a cut or a fade."""
    level_db = _levels_db(clip)
    body_db = float(np.percentile(level_db, 75))
    lag = 4
    rise = level_db[lag:] - level_db[:-lag]
    hits = np.flatnonzero((rise > 6.0) & (level_db[lag:] > body_db - 20.0))
    if not len(hits):
        return clip.start_s, 0.0
    hit = int(hits[-1])
    after = level_db[hit:]
    is_full = np.clip((after.max() - body_db + 9.0) / 6.0, 0.0, 1.0)
    has_died = np.clip((after.max() - after[-5:].mean() - 9.0) / 6.0, 0.0, 1.0)
    is_long = np.clip((len(after) * _LEVEL_STEP_S - 0.4) / 0.4, 0.0, 1.0)
    return clip.start_s + hit * _LEVEL_STEP_S, float(is_full * has_died * is_long)


def _levels_db(clip: Clip) -> Floats:
    """Level every 10 ms."""
    step = max(1, round(clip.rate_hz * _LEVEL_STEP_S))
    mono = clip.samples.mean(axis=1, dtype=np.float64)
    n_steps = max(1, len(mono) // step)
    padded = np.pad(mono, (0, max(0, step - len(mono))))
    power = (padded[: n_steps * step].reshape(n_steps, step) ** 2).mean(axis=1)
    return np.asarray(10.0 * np.log10(power + 1e-12))


def _fact(weights: Floats) -> KeyFact:
    order = np.argsort(-weights, kind="stable")[: _N_RUNNERS_UP + 1]
    best, *others = [KeyWeight(key=ALL_KEYS[k], weight=float(weights[k])) for k in order]
    return KeyFact(key=best.key, confidence=best.weight, runners_up=tuple(others))
