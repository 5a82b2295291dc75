"""What speaks for a key: twelve numbers, one a pitch class, for every kind of evidence.

No profile of pitch classes tells A minor's Am-G-F-G from C or G, so the chords, the
bass on downbeats, how chords follow one another and where the music starts and
comes to rest are heard besides the notes.

Which chord sounds when, as probabilities: triads on twelve roots.

Each segment's chroma above and in the bass is compared with the notes of every
triad; a hidden Markov model that holds its chord smooths the result over time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import bass_chroma, treble_chroma
from segue.music.key import N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.analysis.key_segments import Segments


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


Floats = npt.NDArray[np.float64]

_MOTIONS: Final = (
    ("major", 7, "major"),
    ("major", 7, "minor"),
    ("minor", 7, "minor"),
    ("minor", 7, "major"),
    ("major", 5, "major"),
    ("major", 5, "minor"),
    ("minor", 5, "minor"),
    ("minor", 5, "major"),
    ("major", 10, "major"),
    ("major", 10, "minor"),
    ("major", 8, "minor"),
    ("diminished", 11, "major"),
    ("diminished", 11, "minor"),
)
"""Chord motions: quality, semitones above the goal's root, and quality of the goal."""

EVIDENCE: Final = (
    "notes", "notes present", "bass", "bass on downbeats",
    "major chords", "minor chords", "diminished chords",
    "major chords on downbeats", "minor chords on downbeats",
    *(f"{source} {semitones} to {goal}" for source, semitones, goal in _MOTIONS),
    "first bass", "first major", "first minor",
    "opening bass", "opening major", "opening minor",
    "last bass", "last major", "last minor",
    "resting bass", "resting major", "resting minor",
)  # fmt: skip
"""Kinds of evidence, in order."""

_SOUNDING: Final = 0.3
"""Segments of at least this weight have music in them."""
_HEAD_BARS: Final = 4
"""Phrases mostly start every fourth bar; common practice, no source."""


def key_evidence(segments: Segments) -> Floats:
    """Everything that speaks for a key.

    Returns
    -------
    ndarray, shape (len(EVIDENCE), 12)
        By kind and pitch class. Transposing the music rolls every row.
    """
    treble = treble_chroma(segments.strengths)
    bass = bass_chroma(segments.bass_strengths)
    weight = _segment_weights(segments.level)
    chords = chord_posteriors(treble, bass)
    bars = weight * segments.downbeat
    notes = _share(weight @ _rows_to_one(treble))
    rows = [
        notes,
        np.sqrt(notes),
        _share(weight @ _rows_to_one(bass)),
        _share(bars @ _rows_to_one(bass)),
        *_weighted(weight, chords),
        *_weighted(bars, chords)[:2],
        *_motions(weight, chords),
        *_opening(weight, segments, _rows_to_one(bass), chords),
        *_close(weight, segments, _rows_to_one(bass), chords),
    ]
    return np.array(rows)


def _segment_weights(level: Floats) -> Floats:
    """Near 1 where the music sounds, less in its decay."""
    return np.asarray(level / (level + 0.1 * np.median(level) + np.finfo(np.float64).tiny))


def _weighted(weight: Floats, chords: Floats) -> Floats:
    """Mean chord posterior, shape (3, 12)."""
    total = max(float(weight.sum()), 1e-9)
    return np.asarray(np.tensordot(weight, chords, axes=1) / total)


def _motions(weight: Floats, chords: Floats) -> list[Floats]:
    """Share of each chord motion among all changes, by the root of its goal."""
    qualities = {"major": 0, "minor": 1, "diminished": 2}
    both = np.minimum(weight[:-1], weight[1:])[:, None]
    before, after = chords[:-1] * both[:, None], chords[1:]
    stays = float((before * after).sum())
    changes = max(float(both.sum()) - stays, 1.0)
    rows = []
    for source, semitones, goal in _MOTIONS:
        from_root = np.roll(before[:, qualities[source]], -semitones, axis=1)
        rows.append((from_root * after[:, qualities[goal]]).sum(axis=0) / changes)
    return rows


def _opening(weight: Floats, segments: Segments, bass: Floats, chords: Floats) -> list[Floats]:
    """The first chord that sounds, and the chords of every fourth bar from the first."""
    if not segments.is_start or not len(weight):
        return [np.zeros(N_PITCH_CLASSES)] * 6
    first = int(np.argmax(weight > _SOUNDING))
    fade = np.zeros(len(weight))
    fade[first:] = 0.5 ** np.arange(len(weight) - first)
    heads = np.zeros(len(weight))
    bars = np.flatnonzero(segments.downbeat > 0)[::_HEAD_BARS]
    heads[bars] = segments.downbeat[bars]
    return [*_triple(weight * fade, bass, chords), *_triple(weight * heads, bass, chords)]


def _close(weight: Floats, segments: Segments, bass: Floats, chords: Floats) -> list[Floats]:
    """The last chord that plays, and the one on which the music comes to rest."""
    if segments.is_start or not len(weight):
        return [np.zeros(N_PITCH_CLASSES)] * 6
    last = len(weight) - 1 - int(np.argmax(weight[::-1] > _SOUNDING))
    fade = np.zeros(len(weight))
    fade[: last + 1] = 0.5 ** np.arange(last, -1, -1)
    treble = treble_chroma(segments.final_strengths[:1])
    low = bass_chroma(segments.final_strengths[1:])
    final = _triple(np.ones(1), _rows_to_one(low), chord_posteriors(treble, low))
    return [*_triple(weight * fade, bass, chords), *(segments.rest * row for row in final)]


def _triple(weight: Floats, bass: Floats, chords: Floats) -> list[Floats]:
    return [_share(weight @ bass), *_weighted(weight, chords)[:2]]


def _rows_to_one(chroma: Floats) -> Floats:
    total = chroma.sum(axis=1, keepdims=True)
    return chroma / np.where(total > 0, total, 1.0)


def _share(row: Floats) -> Floats:
    total = float(row.sum())
    return np.asarray(row / total if total > 0 else row)
