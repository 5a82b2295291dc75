"""The cheapest way of chords from one key to another.

The path is found by dynamic programming over chords in their keys, with the
chord distance of Lerdahl (2001) as the cost of a step (see
`segue.music.lerdahl`). Steps are squared, so that many small ones beat one leap;
standing still, going back and turning major to minor in place cost too, so that
the harmony leads somewhere. The last chord is a dominant of the new key.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from segue.music.chord import Chord, tonic_triad
from segue.music.key import ALL_KEYS, N_PITCH_CLASSES, Key
from segue.music.lerdahl import chord_distance, region_distance

PathStart = Literal["old key", "new key"]

_STANDING_STILL: Final = 10
"""Cost of repeating a chord, in Lerdahl's unit: as a step into a key two fifths away.

Chosen by ear."""

_RETURNING: Final = 5
"""Cost of a chord that was heard before: as a fourth or fifth. Chosen by ear."""

_CHANGING_MODE: Final = 12
"""Cost of a triad that turns from major to minor in place or back. Chosen by ear."""

_TRITONE: Final = 9
"""Cost of roots a tritone apart, which the diatonic circle may count as neighbours.

Chosen by ear."""

_DETOUR: Final = 7.0
"""How much longer than the direct way a way through another key may be: one near key."""

_HISTORIES: Final = 4

_DEGREES: Final[dict[str, tuple[tuple[int, Literal["major", "minor"]], ...]]] = {
    "major": ((0, "major"), (2, "minor"), (4, "minor"), (5, "major"), (7, "major"), (9, "minor")),
    "minor": ((0, "minor"), (3, "major"), (5, "minor"), (7, "major"), (8, "major"), (10, "major")),
}
"""Triads a band would play in each mode (semitones above the tonic); V is major in minor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PathStep:
    """A chord of the path and the key it is heard in."""

    chord: Chord
    key: Key

    @property
    def symbol(self) -> str:
        """Chord symbol, spelled as in the key it is heard in.

        Examples
        --------
        >>> PathStep(
        ...     chord=Chord(root=10, quality="major"), key=Key(tonic=5, mode="major")
        ... ).symbol
        'Bb'
        """
        return self.chord.symbol(flats=self.key.prefers_flats)


_History = tuple[float, tuple[PathStep, ...]]


def chord_path(
    old: Key, new: Key, *, n_chords: int, start: PathStart = "old key"
) -> tuple[PathStep, ...]:
    """Chords that lead from one key to a dominant of another.

    Parameters
    ----------
    old, new : Key
        Key that is left and key that is entered after the last chord.
    n_chords : int
        Number of chords before the entry. At least 1.
    start : {'old key', 'new key'}
        Start on the old tonic and move, or state the new key at once.

    Returns
    -------
    tuple of PathStep
        `n_chords` steps. The last is the dominant seventh of `new`; at least
        the second half is heard in `new`.

    Raises
    ------
    ValueError
        If `n_chords` is below 1.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> steps = chord_path(parse_key("C major"), parse_key("G major"), n_chords=4)
    >>> [step.chord.symbol(flats=False) for step in steps]
    ['C', 'Em', 'Am', 'D7']
    """
    if n_chords < 1:
        raise ValueError(f"a path needs at least one chord, got {n_chords}")
    # Solved from C, so that transposing both keys transposes the path even where costs tie.
    up = old.tonic
    steps = _path_from_c(old.transposed(-up), new.transposed(-up), n_chords, start)
    return tuple(
        PathStep(chord=step.chord.transposed(up), key=step.key.transposed(up)) for step in steps
    )


@lru_cache(maxsize=256)
def _path_from_c(old: Key, new: Key, n_chords: int, start: PathStart) -> tuple[PathStep, ...]:
    home = old if start == "old key" else new
    first = PathStep(chord=tonic_triad(home), key=home)
    arrival = PathStep(chord=tonic_triad(new), key=new)
    inner = _inner_layers(home, new, n_chords)
    layers = [[first], *inner, [_dominant(new)]] if n_chords > 1 else [[_dominant(new)]]
    steps = _cheapest([*layers, [arrival]])
    return (*steps[:-2], _with_seventh(steps[-2]))


def _inner_layers(old: Key, new: Key, n_chords: int) -> list[list[PathStep]]:
    """Choices for every chord between the first and the last."""
    direct = region_distance(old, new)
    on_the_way = [
        step
        for key in ALL_KEYS
        if region_distance(old, key) + region_distance(key, new) <= direct + _DETOUR
        for step in _steps_in(key)
    ]
    return [_steps_in(new) if n >= n_chords // 2 else on_the_way for n in range(1, n_chords - 1)]


@lru_cache(maxsize=32)
def _steps_in(key: Key) -> list[PathStep]:
    return [
        PathStep(
            chord=Chord(root=(key.tonic + semitones) % N_PITCH_CLASSES, quality=quality), key=key
        )
        for semitones, quality in _DEGREES[key.mode]
    ]


def _dominant(key: Key) -> PathStep:
    root = (key.tonic + 7) % N_PITCH_CLASSES
    return PathStep(chord=Chord(root=root, quality="major"), key=key)


def _with_seventh(step: PathStep) -> PathStep:
    return PathStep(chord=Chord(root=step.chord.root, quality="dominant seventh"), key=step.key)


def _cheapest(layers: list[list[PathStep]]) -> tuple[PathStep, ...]:
    """Dynamic programming with the few best histories kept for every chord.

    The histories let a chord that was heard before cost more, which a search
    over pairs alone could not see. Ties go to the earlier candidate.
    """
    best: list[list[_History]] = [[(0.0, (step,))] for step in layers[0]]
    for layer in layers[1:]:
        best = [
            heapq.nsmallest(
                _HISTORIES,
                (
                    (cost + _cost(path, step), (*path, step))
                    for paths in best
                    for cost, path in paths
                ),
                key=lambda found: found[0],
            )
            for step in layer
        ]
    return min((paths[0] for paths in best), key=lambda found: found[0])[1]


def _cost(path: tuple[PathStep, ...], step: PathStep) -> float:
    here = path[-1]
    cost = float(_distance(here, step) ** 2)
    if here.chord == step.chord:
        return cost + _STANDING_STILL**2
    if here.chord.root == step.chord.root:
        cost += _CHANGING_MODE**2
    if (step.chord.root - here.chord.root) % N_PITCH_CLASSES == N_PITCH_CLASSES // 2:
        cost += _TRITONE**2
    return cost + sum(_RETURNING**2 for earlier in path[1:-1] if earlier.chord == step.chord)


@lru_cache(maxsize=65536)
def _distance(x: PathStep, y: PathStep) -> int:
    return chord_distance(x.chord, x.key, y.chord, y.key)
