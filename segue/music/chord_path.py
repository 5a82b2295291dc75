"""The cheapest way of chords from one key to another.

The path is found by dynamic programming over chords in their keys, with the
chord distance of Lerdahl (2001) as the cost of a step (see
`segue.music.tonal_space`). Steps are squared, so that many small ones beat one leap.
It starts on the old tonic, stays among the old key's chords up to a pivot, a
chord that belongs to both keys, goes on among the new key's and ends on the
cadence chord; only where no pivot fits does it step across. Standing still,
swinging to and fro and going back cost extra, so that the harmony leads
somewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from segue.music.chord import (
    CADENCES,
    Cadence,
    CadenceChoice,
    Chord,
    borrowed_chords,
    cadence_chord,
    fit,
    own_chords,
    tonic_triad,
)
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import chord_distance

PathStart = Literal["old key", "new key"]

_SHORT: Final = 3
"""With at most so many chords, the first or the last may be the pivot."""

# Costs, squared like the steps, in Lerdahl's unit; chosen by reading the paths between all keys.
_STANDING_STILL: Final = 20**2
_SWINGING: Final = 12**2
"""Back to the chord before the last: to and fro."""
_RETURNING: Final = 5**2
"""A chord that was heard before: as a fourth or fifth."""
_CHANGING_MODE: Final = 12**2
"""A triad that turns from major to minor in place or back."""
_TRITONE: Final = 9**2
"""Roots a tritone apart, which the diatonic circle may count as neighbours."""
_BORROWING: Final = 8**2
"""A pivot that one of the keys only borrows."""
_STEPPING_ACROSS: Final = 12**2
"""From key to key without a pivot."""
_LEFT_OPEN: Final = 5**2
"""A dominant that goes neither home nor to the sixth degree."""
_UNPREPARED: Final = 8**2
"""A dominant at the cadence that no subdominant leads to: neither second, fourth nor, in
minor, sixth degree."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PathStep:
    """A chord of the path and the key it is heard in.

    Parameters
    ----------
    pivot_from : Key or None
        For a pivot, the key that it is also heard in and that is left with it.
    """

    chord: Chord
    key: Key
    pivot_from: Key | None = None

    @property
    def symbol(self) -> str:
        """Chord symbol in its spelling key.

        Examples
        --------
        >>> PathStep(
        ...     chord=Chord(root=10, quality="major"), key=Key(tonic=5, mode="major")
        ... ).symbol
        'Bb'
        """
        return self.chord.symbol_in(self.spelling_key)

    @property
    def spelling_key(self) -> Key:
        """The key it is heard in; for a pivot that this key only borrows, the old one."""
        if self.pivot_from is not None and fit(self.chord, self.key) != "own":
            return self.pivot_from
        return self.key


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """Chords so far, their cost, and the triads heard before the last as a set of bits."""

    cost: float
    steps: tuple[PathStep, ...]
    heard: int


def chord_path(
    old: Key,
    new: Key,
    *,
    n_chords: int,
    start: PathStart = "old key",
    cadence: CadenceChoice = "dominant",
) -> tuple[PathStep, ...]:
    """Chords that lead from one key to a cadence in another.

    Parameters
    ----------
    old, new : Key
        Key that is left and key that is entered after the last chord.
    n_chords : int
        Number of chords before the entry. At least 1.
    start : {'old key', 'new key'}
        Start on the old tonic and move, or state the new key at once.
    cadence : {'dominant', 'subdominant', 'flat seventh', 'any'}
        The last chord, see `segue.music.chord`; 'any' takes the cheapest way.

    Returns
    -------
    tuple of PathStep
        `n_chords` steps; at least the second half is heard in `new`.

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
    home, goal = old.transposed(-up), new.transposed(-up)
    if start == "new key":
        home = goal
    allowed = CADENCES if cadence == "any" else (cadence,)
    found = [_way(home, goal, n_chords, last) for last in allowed]
    cheapest = min(found, key=lambda way: way.cost)
    return tuple(_transposed(step, old, new) for step in cheapest.steps[:-1])


def _transposed(step: PathStep, old: Key, new: Key) -> PathStep:
    """A step from C to where the songs are, in their keys as these are spelled."""
    key = step.key.transposed(old.tonic)
    return PathStep(
        chord=step.chord.transposed(old.tonic),
        key=new if key == new else old,
        pivot_from=None if step.pivot_from is None else old,
    )


@lru_cache(maxsize=1024)
def _way(old: Key, new: Key, n_chords: int, cadence: Cadence) -> _Way:
    """The cheapest way with its arrival on the new tonic."""
    layers = [_choices(old, new, n, n_chords) for n in range(n_chords - 1)]
    if layers:
        layers[0] = [step for step in layers[0] if step.chord == tonic_triad(old)]
    last = cadence_chord(cadence, new)
    layers.append([PathStep(chord=last, key=new)])
    if 1 < n_chords <= _SHORT and old != new and fit(last, old) != "foreign":
        layers[-1].append(PathStep(chord=last, key=new, pivot_from=old))
    layers.append([PathStep(chord=tonic_triad(new), key=new)])
    return _cheapest(layers)


def _choices(old: Key, new: Key, n: int, n_chords: int) -> list[PathStep]:
    """Every chord that may stand at a place before the last."""
    stay = [PathStep(chord=chord, key=new) for chord in own_chords(new)]
    if old == new:
        return stay
    middle = (n_chords + 1) // 2
    leave = [PathStep(chord=chord, key=old) for chord in own_chords(old) if n < middle]
    may_turn = n <= middle and (n > 0 or n_chords <= _SHORT)
    turn = [
        PathStep(chord=chord, key=new, pivot_from=old)
        for chord in (*own_chords(new), *borrowed_chords(new))
        if may_turn and fit(chord, old) != "foreign"
    ]
    return [*leave, *turn, *(stay if n > 0 else [])]


def _cheapest(layers: list[list[PathStep]]) -> _Way:
    """Dynamic programming over pairs of chords, so that swinging to and fro is seen.

    What was heard before the last pair is taken from the cheapest way to that
    pair. Ties go to the earlier candidate.
    """
    best = [[_Way(cost=0.0, steps=(step,), heard=0)] for step in layers[0]]
    for layer in layers[1:]:
        best = [[_longer(ways, step) for ways in best] for step in layer]
    return min((way for ways in best for way in ways), key=lambda way: way.cost)


def _longer(ways: list[_Way], step: PathStep) -> _Way:
    """The cheapest of some ways that end on the same chord, with one more chord."""
    here = ways[0].steps[-1]
    triad = _bit(step.chord)

    def cost(way: _Way) -> float:
        if not way.heard & triad:
            return way.cost
        swings = step.chord.triad == way.steps[-2].chord.triad
        return way.cost + (_SWINGING if swings else _RETURNING)

    way = min(ways, key=cost)
    return _Way(
        cost=cost(way) + _step_cost(here, step),
        steps=(*way.steps, step),
        heard=way.heard | _bit(here.chord),
    )


def _bit(chord: Chord) -> int:
    """A triad as one bit of a set."""
    return 1 << 2 * chord.root + (chord.quality == "minor")


@lru_cache(maxsize=65536)
def _step_cost(here: PathStep, step: PathStep) -> float:
    """Cost of two neighbours, whatever was heard before."""
    x, y = here.chord, step.chord
    heard_in = step.pivot_from or step.key  # a pivot is reached in the old key and left in the new
    cost = float(chord_distance(x, here.key, y, heard_in) ** 2)
    if step.pivot_from is not None:
        cost += _BORROWING * ((fit(y, step.key) != "own") + (fit(y, step.pivot_from) != "own"))
    if here.key != heard_in:
        cost += _STEPPING_ACROSS
    if x.triad == y.triad:
        return cost + _STANDING_STILL
    if x.root == y.root:
        cost += _CHANGING_MODE
    if (y.root - x.root) % N_PITCH_CLASSES == N_PITCH_CLASSES // 2:
        cost += _TRITONE
    if y.quality == "dominant seventh" and not _is_subdominant(here, step.key):
        cost += _UNPREPARED
    return cost + _LEFT_OPEN * _is_left_open(here, step)


def _is_subdominant(step: PathStep, key: Key) -> bool:
    degree = (step.chord.root - key.tonic) % N_PITCH_CLASSES
    return degree in ((2, 5) if key.mode == "major" else (5, 8))


def _is_left_open(here: PathStep, step: PathStep) -> bool:
    """Whether a dominant goes neither home nor to the sixth degree."""
    if here.chord.triad != cadence_chord("dominant", here.key).triad:
        return False
    degree = (step.chord.root - here.key.tonic) % N_PITCH_CLASSES
    return degree not in (0, 8 if here.key.mode == "minor" else 9)
