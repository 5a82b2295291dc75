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

from segue.music.key import N_PITCH_CLASSES

if TYPE_CHECKING:
    from segue.analysis.key_segments import NoteFrames
    from segue.arrays import Floats


QUALITIES: Final = ("major", "minor", "diminished")
# semitones above the root, in the order of `QUALITIES`
_TRIADS: Final = ((0, 4, 7), (0, 3, 7), (0, 3, 6))
_QUALITY_BONUS: Final = (0.0, 0.0, -0.08)
"""Diminished triads are rare and mostly stand for a dominant without its root."""
_BASS_ROOT: Final = 1.0  # weight of the root in the bass of a triad; by judgement
_BASS_OTHER: Final = 0.25  # weight of its third and fifth in the bass; by judgement
_BASS_SHARE: Final = 0.35
"""How much the bass counts against the chroma above."""
_SHARPNESS: Final = 14.0  # logarithm of likelihood for a fit better by 1; by judgement
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


_STEPS: Final = (1, 2, 3, 4, 5, 7, 8, 9, 10, 11)
"""Semitones from a bass note down to the one before; a tritone is rare."""
# semitones: the thirds, the fifth and the minor seventh; by judgement
_ABOVE_BASS: Final = (3, 4, 7, 10)
_MOVED: Final = ("major", "minor")
_EDGE_SEGMENTS: Final = (1.5, 8.0)
"""How fast two looks at the edge itself fall off, in segments; a third looks at the far end."""
_FAR_SEGMENTS: Final = 4.0  # segments by which a look at the far end falls off; by judgement
_SOUNDING: Final = 0.3
"""Segments of at least this weight have music in them."""
_DECAYED: Final = 0.1  # magnitude against the median segment that counts half; by judgement
_HEAD_BARS: Final = 4
"""Phrases mostly start every fourth bar; common practice, no source."""
_FEW_BARS: Final = 4.0
"""With fewer downbeats than this, what falls on them counts less."""
_TINY: Final = 1e-6  # keeps divisions by a sum away from zero


def key_evidence(frames: NoteFrames) -> Floats:
    """Everything that speaks for a key.

    Returns
    -------
    ndarray, shape (n_kinds, 12)
        By kind and pitch class. Transposing the music rolls every row.
    """
    power = frames.notes**2
    bass, treble = _to_one(power[:, 0]), _to_one(power[:, 1:4].sum(axis=1))
    weight = _segment_weights(frames.level)
    bars = weight * frames.downbeat
    on_bars = bars / max(float(bars.sum()), _TINY)
    on_bars = on_bars * min(1.0, float(frames.downbeat.sum()) / _FEW_BARS)
    chords = chord_posteriors(treble, bass)
    return np.array(
        [
            *(weight @ frames.notes[:, register] for register in range(power.shape[1])),
            *(_share(weight @ power[:, register]) for register in range(power.shape[1])),
            on_bars @ np.sqrt(bass),
            on_bars @ np.sqrt(treble),
            on_bars @ bass,
            *_chords_over_bass(weight, bass, treble),
            *_chords_over_bass(on_bars, bass, treble),
            *_bass_motions(weight, bass),
            *np.tensordot(weight, chords, axes=1),
            *np.tensordot(on_bars, chords, axes=1)[:2],
            *_chord_motions(weight, chords),
            *_at_edges(weight, frames, (bass, treble, power[:, 4]), chords),
            *_phrase_heads(frames, bass, chords),
        ],
        dtype=np.float32,
    )


def plain_chroma(frames: NoteFrames) -> Floats:
    """Share of each pitch class in the whitened spectrum, overtones and all, shape (12,)."""
    return _share(_segment_weights(frames.level) @ frames.notes[:, -1] ** 2)


def chord_at_edge(frames: NoteFrames) -> Floats:
    """How likely each triad is to be the last one of an ending, the first of an opening.

    Returns
    -------
    ndarray, shape (2, 12)
        Major and minor triads by root; what is left to 1 are others.
    """
    power = frames.notes**2
    chords = chord_posteriors(_to_one(power[:, 1:4].sum(axis=1)), _to_one(power[:, 0]))
    weight = _segment_weights(frames.level)
    near = fading(from_edge(weight, frames)[0], _EDGE_SEGMENTS[0]) * weight
    near = near / max(float(near.sum()), _TINY)
    return np.asarray(np.tensordot(near, chords, axes=1)[: len(_MOVED)])


def from_edge(
    weight: Floats, frames: NoteFrames
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Segments from what sounds first at the edge, and from what sounds at the far end."""
    sounding = np.flatnonzero(weight > _SOUNDING * weight.max(initial=0.0))
    first, last = (int(sounding[0]), int(sounding[-1])) if len(sounding) else (0, 0)
    place = np.arange(len(weight))
    forward, backward = place - first, last - place
    return (forward, backward) if frames.is_start else (backward, forward)


def _segment_weights(level: Floats) -> Floats:
    """Weights that add up to 1: full where the music sounds, less in its decay."""
    weight = sounding_share(level)
    return np.asarray(weight / max(float(weight.sum()), _TINY))


def sounding_share(level: Floats) -> Floats:
    """How far music sounds in each segment, 0..1, of octaves above the median segment."""
    magnitude = 2.0**level
    return np.asarray(magnitude / (magnitude + _DECAYED))


def _chords_over_bass(weight: Floats, bass: Floats, treble: Floats) -> list[Floats]:
    """How much of each interval sounds above each bass note."""
    low, high = np.sqrt(bass), np.sqrt(treble)
    return [weight @ (low * np.roll(high, -interval, axis=1)) for interval in _ABOVE_BASS]


def _bass_motions(weight: Floats, bass: Floats) -> list[Floats]:
    """Share of each step of the bass among all its steps, by the note it goes to."""
    before, after = bass[:-1], bass[1:]
    moves = 1.0 - (before * after).sum(axis=1)
    total = float(weight[1:] @ moves) + 0.01
    return [weight[1:] @ (np.roll(before, -step, axis=1) * after) / total for step in _STEPS]


def _chord_motions(weight: Floats, chords: Floats) -> list[Floats]:
    """Share of each chord motion among all changes, by the root of its goal."""
    number = {"major": 0, "minor": 1}
    both = np.minimum(weight[:-1], weight[1:])[:, None]
    before, after = chords[:-1] * both[:, None], chords[1:]
    changes = float(both.sum()) - float((before * after).sum()) + 0.01
    return [
        (np.roll(before[:, number[source]], -step, axis=1) * after[:, number[goal]]).sum(axis=0)
        / changes
        for source in _MOVED
        for goal in _MOVED
        for step in _STEPS
    ]


def _at_edges(
    weight: Floats, frames: NoteFrames, chroma: tuple[Floats, ...], chords: Floats
) -> list[Floats]:
    """What sounds at the edge itself, of endings and of openings, and at the far end."""
    inward, outward = from_edge(weight, frames)
    rows = []
    for reach in _EDGE_SEGMENTS:
        near = fading(inward, reach) * weight
        near = near / max(float(near.sum()), _TINY)
        seen = [*(near @ values for values in chroma), *np.tensordot(near, chords, axes=1)[:2]]
        nothing = [np.zeros(N_PITCH_CLASSES)] * len(seen)
        rows += [*seen, *nothing] if frames.is_start else [*nothing, *seen]
    far = fading(outward, _FAR_SEGMENTS) * weight
    far = far / max(float(far.sum()), _TINY)
    return [*rows, far @ chroma[0], far @ chroma[1]]


def fading(distance: npt.NDArray[np.intp], reach: float) -> Floats:
    """Weights that fall off with the distance, none before it is 0."""
    return np.where(distance >= 0, np.exp(-np.maximum(distance, 0) / reach), 0.0)


def _phrase_heads(frames: NoteFrames, bass: Floats, chords: Floats) -> list[Floats]:
    """The chords of every fourth bar from the first of an opening, from the last of an ending."""
    bars = np.flatnonzero(frames.downbeat > 0)
    chosen = bars[::_HEAD_BARS] if frames.is_start else bars[::-1][::_HEAD_BARS]
    heads = np.zeros(len(bass))
    heads[chosen] = frames.downbeat[chosen] / max(len(chosen), 1)
    seen = [heads @ bass, *np.tensordot(heads, chords, axes=1)[:2]]
    nothing = [np.zeros(N_PITCH_CLASSES)] * len(seen)
    return [*seen, *nothing] if frames.is_start else [*nothing, *seen]


def _to_one(chroma: Floats) -> Floats:
    return np.asarray(chroma / (chroma.sum(axis=1, keepdims=True) + _TINY))


def _share(row: Floats) -> Floats:
    return np.asarray(row / (float(row.sum()) + _TINY))
