"""Distances between keys, after four published models, and their consensus.

The models disagree in places (is the parallel minor nearer than the fifth?),
so `key_distance` averages their *ranks*.

Lerdahl's has distances between chords, too: that of a chord x in one key to a chord y in
another is i + j + k: steps between the diatonic collections on the circle of fifths, steps
between the roots on the diatonic circle of fifths, and pitch classes of y's basic space
that are not in x's at the same level [L01]_. The printed rule is meant for near
keys; far keys are reached by the cheapest chain through near ones.

References
----------
.. [KK82] C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in
   perceived tonal organization in a spatial representation of musical keys",
   Psychological Review 89(4), 1982, 334-368.
.. [L01] F. Lerdahl, Tonal Pitch Space, Oxford University Press, 2001, ch. 2.
.. [HSG06] C. Harte, M. Sandler and M. Gasser, "Detecting harmonic change in
   musical audio", ACM Workshop on Audio and Music Computing Multimedia, 2006.
.. [B16] G. Bernardes, D. Cocharro, M. Caetano, C. Guedes and M. E. P. Davies,
   "A multi-level tonal interval space for modelling pitch relatedness and
   musical consonance", Journal of New Music Research 45(4), 2016, 281-294.
"""

from __future__ import annotations

import cmath
import heapq
import math
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from segue.music.chord import Chord, tonic_triad
from segue.music.key import ALL_KEYS, N_PITCH_CLASSES, Key, Mode
from segue.music.profiles import KRUMHANSL_KESSLER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence


_MAJOR_SCALE: Final = (0, 2, 4, 5, 7, 9, 11)  # semitones of its seven degrees above the tonic
_FIFTH: Final = 7  # semitones of a perfect fifth


def collection(key: Key) -> frozenset[int]:
    """Pitch classes of a key's diatonic collection (natural minor for minor keys)."""
    return frozenset((key.relative_major_tonic + step) % N_PITCH_CLASSES for step in _MAJOR_SCALE)


@lru_cache(maxsize=65536)
def chord_distance(x: Chord, x_key: Key, y: Chord, y_key: Key) -> int:
    """Distance i + j + k from a chord in a key to a chord in a key [L01]_.

    Parameters
    ----------
    x, y : Chord
        Sevenths count as their triads.
    x_key, y_key : Key
        The keys they are heard in.

    Returns
    -------
    int
        0 for the same chord in the same key. Where a root lies outside the
        diatonic circle, j is counted on the chromatic circle of fifths (an
        extension of ours, for borrowed chords).

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> c = parse_key("C major")
    >>> chord_distance(Chord(root=0, quality="major"), c, Chord(root=2, quality="minor"), c)
    8
    """
    i = _fifths_apart(x_key.relative_major_tonic, y_key.relative_major_tonic)
    j = _root_steps(x.root, y.root, y_key)
    k = sum(
        len(level_y - level_x)
        for level_x, level_y in zip(_levels(x, x_key), _levels(y, y_key), strict=True)
    )
    return i + j + k


@lru_cache(maxsize=1024)
def region_distance(a: Key, b: Key) -> float:
    """Distance between two keys: the cheapest chain of one-step moves between near keys.

    Near keys are those of V, IV, the relative, the parallel, iii (VI in minor)
    and ii (VII in minor); the far values depend on that choice.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> region_distance(parse_key("C major"), parse_key("D minor"))
    10.0
    """
    best = {a: 0.0}
    queue: list[tuple[float, Key]] = [(0.0, a)]
    while queue:
        so_far, here = heapq.heappop(queue)
        if here == b:
            return so_far
        for near in _near_keys(here):
            total = so_far + chord_distance(tonic_triad(here), here, tonic_triad(near), near)
            if total < best.get(near, float("inf")):
                best[near] = total
                heapq.heappush(queue, (total, near))
    raise ValueError(f"no chain from {a} to {b} within {len(ALL_KEYS)} keys")


def _near_keys(key: Key) -> Iterator[Key]:
    major = key.mode == "major"
    other: Mode = "minor" if major else "major"
    for semitones in (7, 5):
        yield key.transposed(semitones)
    for semitones in (9, 0, 4, 2) if major else (3, 0, 8, 10):
        yield Key(tonic=(key.tonic + semitones) % N_PITCH_CLASSES, mode=other)


def _levels(chord: Chord, key: Key) -> tuple[frozenset[int], ...]:
    """Root, fifth, triad and diatonic levels of the basic space."""
    triad = chord.triad.pitch_classes
    tones = collection(key) | frozenset(triad)
    return (frozenset(triad[:1]), frozenset((triad[0], triad[2])), frozenset(triad), tones)


def _root_steps(x: int, y: int, key: Key) -> int:
    tones = collection(key)
    if x not in tones or y not in tones:
        return _fifths_apart(x, y)
    start = (key.relative_major_tonic + 5) % N_PITCH_CLASSES  # the flattest degree: fa
    circle = [(start + _FIFTH * n) % N_PITCH_CLASSES for n in range(len(tones))]
    steps = abs(circle.index(x) - circle.index(y))
    return min(steps, len(circle) - steps)


def _fifths_apart(a: int, b: int) -> int:
    steps = (_FIFTH * (b - a)) % N_PITCH_CLASSES
    return min(steps, N_PITCH_CLASSES - steps)


INTERVAL_WEIGHTS: Final[dict[str, tuple[float, ...]]] = {
    "symbolic": (2.0, 11.0, 17.0, 16.0, 19.0, 7.0),
    "audio": (3.0, 8.0, 11.5, 15.0, 14.5, 7.5),
}
"""Weights of the six circles of the Tonal Interval Space [B16]_, for scores and for audio."""

_CENTROID_RADII: Final = (1.0, 1.0, 0.5)
"""Radii of the circles of fifths, minor thirds and major thirds [HSG06]_."""
_CENTROID_TURNS: Final = (7 / 6, 3 / 2, 2 / 3)
"""Turn of each circle for one semitone, in multiples of pi [HSG06]_."""


def krumhansl_distance(a: Key, b: Key) -> float:
    """One minus the correlation of two keys' probe-tone profiles [KK82]_, 0..1.683."""
    return 1.0 - _pearson(_profile_of(a), _profile_of(b))


def tonal_centroid(chroma: Sequence[float]) -> tuple[float, ...]:
    """Six-dimensional tonal centroid of a chroma vector [HSG06]_.

    Zeros for silence.

    Parameters
    ----------
    chroma : sequence of 12 float
        Energy of each pitch class, C first. Not negative.

    Examples
    --------
    >>> [round(x, 3) for x in tonal_centroid([1] + [0] * 11)]
    [0.0, 1.0, 0.0, 1.0, 0.0, 0.5]
    """
    total = sum(chroma)
    centroid = []
    for radius, turn in zip(_CENTROID_RADII, _CENTROID_TURNS, strict=True):
        for wave in (math.sin, math.cos):
            projected = sum(c * wave(turn * math.pi * n) for n, c in enumerate(chroma))
            centroid.append(radius * projected / total if total > 0 else 0.0)
    return tuple(centroid)


def centroid_distance(a: Key, b: Key) -> float:
    """Euclidean distance of the tonal centroids of two tonic triads [HSG06]_."""
    return math.dist(
        tonal_centroid(_chroma_of(tonic_triad(a).pitch_classes)),
        tonal_centroid(_chroma_of(tonic_triad(b).pitch_classes)),
    )


def tonal_interval_vector(
    chroma: Sequence[float], *, weights: Literal["symbolic", "audio"] = "audio"
) -> tuple[complex, ...]:
    """Place of a chroma vector in the Tonal Interval Space [B16]_.

    Zeros for silence.

    Parameters
    ----------
    chroma : sequence of 12 float
        Energy of each pitch class, C first. Not negative.
    weights : {'symbolic', 'audio'}
        Which of the published weightings.

    Examples
    --------
    >>> [round(abs(x), 2) for x in tonal_interval_vector([1] + [0] * 11, weights="symbolic")]
    [2.0, 11.0, 17.0, 16.0, 19.0, 7.0]
    """
    total = sum(chroma)
    if total <= 0:
        return (0j,) * 6
    return tuple(
        weight
        / total
        * sum(c * cmath.exp(-2j * math.pi * k * n / N_PITCH_CLASSES) for n, c in enumerate(chroma))
        for k, weight in enumerate(INTERVAL_WEIGHTS[weights], start=1)
    )


def interval_distance(a: Sequence[complex], b: Sequence[complex]) -> float:
    """Euclidean distance of two places in the Tonal Interval Space [B16]_."""
    return math.sqrt(sum(abs(x - y) ** 2 for x, y in zip(a, b, strict=True)))


def interval_key_distance(a: Key, b: Key) -> float:
    """Distance of two tonic triads in the Tonal Interval Space [B16]_, symbolic weights."""
    vectors = [
        tonal_interval_vector(_chroma_of(tonic_triad(key).pitch_classes), weights="symbolic")
        for key in (a, b)
    ]
    return interval_distance(vectors[0], vectors[1])


MODELS: Final[dict[str, Callable[[Key, Key], float]]] = {
    "Krumhansl-Kessler": krumhansl_distance,
    "Lerdahl": region_distance,
    "tonal centroid": centroid_distance,
    "Tonal Interval Space": interval_key_distance,
}
"""The four distances by the name that people read."""


def key_distance(a: Key, b: Key) -> float:
    """How far apart two keys are by the consensus of four models.

    Returns
    -------
    float
        Mean over the models of the rank of `b` among all 24 keys seen from `a`
        (and the reverse), scaled to 0 (the same key) .. about 1 (the farthest).
        Symmetric, and unchanged when both keys are transposed.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> e, f, a = (parse_key(name) for name in ("E minor", "F minor", "A minor"))
    >>> key_distance(e, e), key_distance(e, f) > key_distance(e, a)
    (0.0, True)
    """
    ranks = _model_ranks(a, b)
    return sum(ranks) / len(ranks)


@lru_cache(maxsize=1024)
def _model_ranks(a: Key, b: Key) -> tuple[float, ...]:
    return tuple((_rank(model, a, b) + _rank(model, b, a)) / 2.0 for model in MODELS)


def _rank(model: str, a: Key, b: Key) -> float:
    """Rank of `b` among all keys by distance from `a`, ties shared, scaled to 0..1."""
    if a == b:
        return 0.0
    centre = Key(tonic=0, mode=a.mode)  # transposing both keys changes no distance
    distances = _distances_from(model, centre)
    here = distances[b.transposed(-a.tonic)]
    others = [distance for key, distance in distances.items() if key != centre]
    nearer = sum(d < here - 1e-9 for d in others)
    level = sum(abs(d - here) <= 1e-9 for d in others)  # noqa: PLR2004 - rounding of equal sums
    return (nearer + (level + 1) / 2) / len(others)


@lru_cache(maxsize=128)
def _distances_from(model: str, a: Key) -> dict[Key, float]:
    return {key: MODELS[model](a, key) for key in ALL_KEYS}


def _profile_of(key: Key) -> tuple[float, ...]:
    published = getattr(KRUMHANSL_KESSLER, key.mode)
    return tuple(published[(n - key.tonic) % N_PITCH_CLASSES] for n in range(N_PITCH_CLASSES))


def _pearson(x: Sequence[float], y: Sequence[float]) -> float:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    dx, dy = [v - mean_x for v in x], [v - mean_y for v in y]
    covariance = sum(p * q for p, q in zip(dx, dy, strict=True))
    return covariance / math.sqrt(sum(p * p for p in dx) * sum(q * q for q in dy))


def _chroma_of(pitch_classes: Iterable[int]) -> list[float]:
    sounding = set(pitch_classes)
    return [1.0 if n in sounding else 0.0 for n in range(N_PITCH_CLASSES)]
