"""Advice on moving the new one of two songs to a nearer key, and what that costs whom in the band.

Weights run from 0 (nothing) to 1 (think twice) and are our judgement; what is
easy on a guitar or on paper is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from segue.errors import counted
from segue.music.interval import effort
from segue.music.key import N_PITCH_CLASSES, Key, note_in
from segue.music.tonal_space import key_distance

Who = Literal["singer", "guitars", "horns and keys", "band"]

STEP_WORDS: Final[dict[int, str]] = {1: "a semitone", 2: "a whole tone"}
"""Sizes of a move by its semitones."""

_OPEN_CHORDS: Final[frozenset[tuple[int, str]]] = frozenset(
    {(0, "major"), (2, "major"), (4, "major"), (7, "major"), (9, "major")}
    | {(2, "minor"), (4, "minor"), (9, "minor")}
)
"""Root and quality of the open-position chords of a guitar in E A D G B E: C D E G A, Dm Em Am."""

_SINGER_UP, _SINGER_DOWN = 0.35, 0.2  # cost a semitone for the singer's range; by judgement
_OPEN_CHORD_LOST = 0.15  # cost of each open chord that becomes a barre; by judgement
_ACCIDENTAL_MORE = 0.05  # cost of each sharp or flat more in the signature; by judgement
_RELEARNING = 0.3  # cost of any other key than the known one; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a move costs one part of the band.

    Parameters
    ----------
    weight : float
        0 (nothing) to 1 (think twice).
    """

    who: Who
    weight: float
    sentence: str


def n_open_chords(key: Key) -> int:
    """How many of a key's three main chords a guitar plays with open strings, 0..3.

    In minor keys the fifth degree counts whether its open chord is major or minor.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> [n_open_chords(parse_key(name)) for name in ("G major", "E minor", "F minor")]
    [3, 2, 1]
    """
    tonic, fourth, fifth = ((key.tonic + step) % N_PITCH_CLASSES for step in (0, 5, 7))
    return (
        ((tonic, key.mode) in _OPEN_CHORDS)
        + ((fourth, key.mode) in _OPEN_CHORDS)
        + ((fifth, key.mode) in _OPEN_CHORDS or (fifth, "major") in _OPEN_CHORDS)
    )


def signature(key: Key) -> str:
    """The key signature in words.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> signature(parse_key("F minor")), signature(parse_key("G major"))
    ('4 flats', '1 sharp')
    """
    n_sharps = key.n_sharps
    if n_sharps == 0:
        return "no accidentals"
    name = "sharp" if n_sharps > 0 else "flat"
    return counted(abs(n_sharps), name)


def costs_of_moving(
    key: Key, semitones: int, *, first_midi: float | None = None
) -> tuple[Cost, ...]:
    """What it costs to play the new song a few semitones away from its key.

    Parameters
    ----------
    key : Key
        The song's present key.
    semitones : int
        -2..2; 0 costs nothing.
    first_midi : float or None
        The first sung note, where it is known.

    Returns
    -------
    tuple of Cost
        One for each part of the band, or none for 0 semitones.

    Raises
    ------
    ValueError
        If the move is wider than a whole tone.
    """
    if semitones == 0:
        return ()
    if abs(semitones) not in STEP_WORDS:
        raise ValueError(f"a move of {semitones} semitones is wider than a whole tone")
    return (
        _singer(key, semitones, first_midi),
        _guitars(key, semitones),
        _readers(key, semitones),
        Cost(
            who="band",
            weight=_RELEARNING,
            sentence=f"The band relearns the new song in {key.transposed(semitones)}.",
        ),
    )


def _singer(key: Key, semitones: int, first_midi: float | None) -> Cost:
    is_up = semitones > 0
    verb, place = ("rises", "top") if is_up else ("sinks", "lowest")
    sentence = f"Every sung note {verb} {STEP_WORDS[abs(semitones)]}, the {place} one too"
    if first_midi is not None:
        after = note_in(first_midi + semitones, key.transposed(semitones))
        sentence += f"; the first from {note_in(first_midi, key)} to {after}"
    weight = (_SINGER_UP if is_up else _SINGER_DOWN) * abs(semitones)
    return Cost(who="singer", weight=weight, sentence=f"{sentence}.")


def _guitars(key: Key, semitones: int) -> Cost:
    moved = key.transposed(semitones)
    before, after = n_open_chords(key), n_open_chords(moved)
    have = f"{after} of their 3 main chords open in {moved}, {before} in {key}"
    if after >= before:
        return Cost(who="guitars", weight=0.0, sentence=f"Guitars have {have}.")
    size = STEP_WORDS[abs(semitones)]
    remedy = f"a capo on fret {semitones}" if semitones > 0 else f"tuning {size} down"
    return Cost(
        who="guitars",
        weight=_OPEN_CHORD_LOST * (before - after),
        sentence=f"Guitars have only {have}: {remedy} keeps the shapes of {key}.",
    )


def _readers(key: Key, semitones: int) -> Cost:
    moved = key.transposed(semitones)
    more = abs(moved.n_sharps) - abs(key.n_sharps)
    return Cost(
        who="horns and keys",
        weight=_ACCIDENTAL_MORE * max(more, 0),
        sentence=f"Horns and keys play in {signature(moved)} instead of {signature(key)}.",
    )


FAR_DISTANCE: Final = 0.5
"""From this key distance on, moving a song is worth a thought: a whole tone and more.

Our judgement of what a band would notice."""

MOVES_SEMITONES: Final = (-2, -1, 0, 1, 2)
"""Moves that a band will consider."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """The new song moved, and what comes of it.

    Parameters
    ----------
    semitones : int
        -2..2; 0 leaves the song where it is.
    key : Key
        Key of the song after the move.
    distance : float
        Distance of the two keys after the move, 0..1.
    costs : tuple of Cost
        Empty where nothing moves.
    """

    semitones: int
    key: Key
    distance: float
    costs: tuple[Cost, ...]
    sentence: str

    @property
    def effort(self) -> float:
        """Weights of all costs added up."""
        return sum(cost.weight for cost in self.costs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What moving the new song by up to a whole tone does to a pair.

    Parameters
    ----------
    moves : tuple of Move
        One for each of `MOVES_SEMITONES`.
    """

    old: Key
    new: Key
    moves: tuple[Move, ...]

    @property
    def best(self) -> Move:
        """The nearest pair of keys; among equals the smaller move, then the cheaper."""
        return min(
            self.moves, key=lambda move: (round(move.distance, 9), abs(move.semitones), move.effort)
        )

    @property
    def sentence(self) -> str:
        """The advice in one sentence."""
        if self.best.semitones == 0:
            return "Moving the new song by up to a whole tone brings it no nearer."
        return self.best.sentence


def transposition_advice(old: Key, new: Key, *, first_midi: float | None = None) -> Advice:
    """What moving the new song by -2..2 semitones does to the distance, and what it costs.

    Parameters
    ----------
    old, new : Key
        Keys of the outgoing and the incoming song.
    first_midi : float or None
        The first sung note of the new song, where it is known.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> advice = transposition_advice(parse_key("E minor"), parse_key("F minor"))
    >>> advice.sentence
    'With the new song a semitone down, in E minor, the change is easy (0.00, not 0.84).'
    """
    moves = tuple(_move(old, new, semitones, first_midi) for semitones in MOVES_SEMITONES)
    return Advice(old=old, new=new, moves=moves)


def _move(old: Key, new: Key, semitones: int, first_midi: float | None) -> Move:
    key = new.transposed(semitones)
    distance = key_distance(old, key)
    change = _change(key_distance(old, new), distance)
    return Move(
        semitones=semitones,
        key=key,
        distance=distance,
        costs=costs_of_moving(new, semitones, first_midi=first_midi),
        sentence=f"With the new song {_where(semitones)}, in {key}, {change}.",
    )


def _where(semitones: int) -> str:
    if semitones == 0:
        return "where it is"
    return f"{STEP_WORDS[abs(semitones)]} {'up' if semitones > 0 else 'down'}"


def _change(before: float, after: float) -> str:
    if f"{before:.2f}" == f"{after:.2f}":
        return f"the change is as {effort(after)} as it was ({after:.2f})"
    return f"the change is {effort(after)} ({after:.2f}, not {before:.2f})"
