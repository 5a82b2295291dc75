"""Lerdahl's distances between chords and between keys.

The distance of a chord x in one key to a chord y in another is i + j + k: steps
between the diatonic collections on the circle of fifths, steps between the
roots on the diatonic circle of fifths, and pitch classes of y's basic space
that are not in x's at the same level [L01]_. The printed rule is meant for near
keys; far keys are reached by the cheapest chain through near ones.

References
----------
.. [L01] F. Lerdahl, Tonal Pitch Space, Oxford University Press, 2001, ch. 2.
"""

from __future__ import annotations

import heapq
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from segue.music.chord import Chord, tonic_triad
from segue.music.key import ALL_KEYS, N_PITCH_CLASSES, Key, Mode

if TYPE_CHECKING:
    from collections.abc import Iterator

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
