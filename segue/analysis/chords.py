"""Which chord sounds when, as probabilities: triads on twelve roots.

Each segment's chroma above and in the bass is compared with the notes of every
triad; a hidden Markov model that holds its chord smooths the result over time.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from segue.music.key import N_PITCH_CLASSES

Floats = npt.NDArray[np.float64]

QUALITIES: Final = ("major", "minor", "diminished")
_TRIADS: Final = ((0, 4, 7), (0, 3, 7), (0, 3, 6))
_QUALITY_BONUS: Final = (0.0, 0.0, -0.08)
"""Diminished triads are rare and mostly stand for a dominant without its root."""
_BASS_ROOT: Final = 1.0
_BASS_OTHER: Final = 0.25
_BASS_SHARE: Final = 0.35
"""How much the bass counts against the chroma above."""
_SHARPNESS: Final = 14.0
_HOLD: Final = 0.7
"""Chance that a chord lasts into the next segment."""


def chord_posteriors(treble: Floats, bass: Floats) -> Floats:
    """How likely each triad is in each segment, given all segments.

    Parameters
    ----------
    treble, bass : ndarray, shape (n_segments, 12)
        Chroma above and of the bass, as `segue.analysis.chroma` gives them.

    Returns
    -------
    ndarray, shape (n_segments, 3, 12)
        Probabilities by quality (`QUALITIES`) and root; each segment adds up to 1.

    Examples
    --------
    >>> chroma = np.zeros((1, 12))
    >>> chroma[0, [0, 3, 7]] = 1.0
    >>> posterior = chord_posteriors(chroma, np.eye(12)[:1])
    >>> np.unravel_index(posterior[0].argmax(), (3, 12))
    (np.int64(1), np.int64(0))
    """
    triads, roots = _templates()
    fit = (1.0 - _BASS_SHARE) * _unit(treble) @ triads.T + _BASS_SHARE * _unit(bass) @ roots.T
    fit += np.repeat(_QUALITY_BONUS, N_PITCH_CLASSES)
    likelihood = np.exp(_SHARPNESS * (fit - fit.max(axis=1, keepdims=True)))
    return _smoothed(likelihood).reshape(len(treble), len(QUALITIES), N_PITCH_CLASSES)


def _templates() -> tuple[Floats, Floats]:
    """Unit chroma of every triad, above and in the bass, each (36, 12)."""
    triads = np.zeros((len(QUALITIES), N_PITCH_CLASSES, N_PITCH_CLASSES))
    basses = np.zeros_like(triads)
    for quality, intervals in enumerate(_TRIADS):
        for root in range(N_PITCH_CLASSES):
            tones = (root + np.array(intervals)) % N_PITCH_CLASSES
            triads[quality, root, tones] = 1.0
            basses[quality, root, tones] = (_BASS_ROOT, _BASS_OTHER, _BASS_OTHER)
    return _unit(triads.reshape(-1, N_PITCH_CLASSES)), _unit(basses.reshape(-1, N_PITCH_CLASSES))


def _smoothed(likelihood: Floats) -> Floats:
    """Forward-backward over chords that hold or jump anywhere."""
    n_segments, n_chords = likelihood.shape
    jump = (1.0 - _HOLD) / n_chords
    forward = np.empty_like(likelihood)
    backward = np.ones_like(likelihood)
    state = np.full(n_chords, 1.0 / n_chords)
    for segment in range(n_segments):
        state = (_HOLD * state + jump) * likelihood[segment]
        state /= state.sum()
        forward[segment] = state
    state = np.full(n_chords, 1.0 / n_chords)
    for segment in range(n_segments - 2, -1, -1):
        after = state * likelihood[segment + 1]
        state = _HOLD * after + jump * after.sum()
        state /= state.sum()
        backward[segment] = state
    posterior = forward * backward
    return np.asarray(posterior / posterior.sum(axis=1, keepdims=True))


def _unit(rows: Floats) -> Floats:
    lengths = np.linalg.norm(rows, axis=1, keepdims=True)
    return rows / np.where(lengths > 0, lengths, 1.0)
