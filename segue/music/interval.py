"""How the new key lies to the old one, and how hard the change is, as a band would say it."""

from __future__ import annotations

from typing import Final, Literal

from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import key_distance

_NAMES: Final = {
    1: "up a semitone",
    2: "up a whole tone",
    3: "up a minor third",
    4: "up a major third",
    5: "up a fourth",
    6: "a tritone away",
    7: "down a fourth",
    8: "down a major third",
    9: "down a minor third",
    10: "down a whole tone",
    11: "down a semitone",
}


def interval_name(a: Key, b: Key) -> str:
    """How the new key lies to the old one.

    Words that follow "E minor to F minor, ...".

    Examples
    --------
    >>> interval_name(Key(tonic=9, mode="minor"), Key(tonic=0, mode="major"))
    'the relative major'
    >>> interval_name(Key(tonic=4, mode="minor"), Key(tonic=5, mode="minor"))
    'up a semitone'
    """
    if a == b:
        return "the same key"
    if a.relative_major_tonic == b.relative_major_tonic:
        return f"the relative {b.mode}"
    if a.tonic == b.tonic:
        return f"the parallel {b.mode}"
    return _NAMES[(b.tonic - a.tonic) % N_PITCH_CLASSES]


def relation(a: Key, b: Key) -> str:
    """How two keys lie to each other, as a sentence without its full stop.

    Begins with a capital, since key names do.

    Examples
    --------
    >>> relation(Key(tonic=4, mode="minor"), Key(tonic=5, mode="minor"))
    'E minor to F minor, up a semitone'
    >>> relation(Key(tonic=9, mode="minor"), Key(tonic=0, mode="major"))
    'A minor to C major, the relative major'
    """
    if a == b:
        return f"Both songs are in {a}"
    return f"{a} to {b}, {interval_name(a, b)}"


Effort = Literal["easy", "moderate", "hard"]
_EFFORTS: Final[tuple[tuple[float, Effort], ...]] = ((0.33, "easy"), (0.66, "moderate"))
"""Distances of two keys up to which a change is easy and moderate: thirds of the way. By
judgement."""


def effort(distance: float) -> Effort:
    """How hard a change of key is, by the distance of the keys, 0..1.

    Examples
    --------
    >>> effort(0.0), effort(0.5), effort(0.84)
    ('easy', 'moderate', 'hard')
    """
    return next((words for limit, words in _EFFORTS if distance <= limit), "hard")


def change_words(a: Key, b: Key) -> str:
    """How two keys lie to each other and how hard that is, without a full stop.

    Examples
    --------
    >>> change_words(Key(tonic=4, mode="minor"), Key(tonic=5, mode="minor"))
    'E minor to F minor, up a semitone: a hard change (0.84; 1 is hardest)'
    >>> change_words(Key(tonic=4, mode="minor"), Key(tonic=4, mode="minor"))
    'Both songs are in E minor: no change of key'
    """
    return f"{relation(a, b)}: {difficulty_words(a, b)}"


def difficulty_words(a: Key, b: Key) -> str:
    """How hard the change is, such as 'a hard change (0.84; 1 is hardest)'."""
    if a == b:
        return "no change of key"
    distance = key_distance(a, b)
    article = "an" if effort(distance) == "easy" else "a"
    return f"{article} {effort(distance)} change ({distance:.2f}; 1 is hardest)"


def reads_as(a: Key, b: Key) -> Literal["lift", "drop", "neither"]:
    """How the step from one key to the other is felt, whatever it costs to get there.

    Common practice, no source: the same mode a semitone or a whole tone higher
    lifts, as last choruses do; lower, it drops.

    Examples
    --------
    >>> reads_as(Key(tonic=0, mode="major"), Key(tonic=2, mode="major"))
    'lift'
    """
    if a.mode != b.mode:
        return "neither"
    match (b.tonic - a.tonic) % N_PITCH_CLASSES:
        case 1 | 2:
            return "lift"
        case 10 | 11:
            return "drop"
        case _:
            return "neither"
