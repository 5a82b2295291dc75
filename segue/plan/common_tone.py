"""Tones that lead from one key to another by standing still, or by the least bend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from segue.music.chord import tonic_triad
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.region import own_chords

_BEND_ORDER: Final = ("root", "fifth", "third")
"""Which tone of the new chord a bend had rather arrive at: the firmest first."""

_HELD_ORDER: Final = ("fifth", "root", "third")
"""Which tone of the new chord is held: the fifth lets the bass that enters under it be news."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """A tone of the old tonic chord and how far it is to one of the new.

    Parameters
    ----------
    tone : int
        Pitch class that is left.
    semitones : int
        Up, or down where negative; 0 where both chords have the tone.
    """

    tone: int
    semitones: int


def least_bend(old: Key, new: Key) -> Bend:
    """The smallest step from a tone of the old tonic chord to one of the new.

    Parameters
    ----------
    old, new : Key

    Returns
    -------
    Bend
        Among equal steps the one to the new root, then the fifth, then the third.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> least_bend(parse_key("E minor"), parse_key("F minor"))
    Bend(tone=4, semitones=1)
    """
    bends = [
        Bend(tone=a, semitones=(b - a + 5) % N_PITCH_CLASSES - 5)
        for b in _tones(new, _BEND_ORDER)
        for a in _tones(old, _BEND_ORDER)
    ]
    return min(bends, key=lambda bend: abs(bend.semitones))


def held_tone(old: Key, new: Key) -> int:
    """A pitch class that can be held from the old key into the new tonic chord.

    Parameters
    ----------
    old, new : Key

    Returns
    -------
    int
        A tone of both tonic chords, else one of the new chord that the old key
        has, else the new fifth.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> held_tone(parse_key("E minor"), parse_key("F minor"))  # C
    0
    """
    tones = _tones(new, _HELD_ORDER)
    chord = set(tonic_triad(old).pitch_classes)
    scale = {tone for own in own_chords(old) for tone in own.pitch_classes}
    shared = [t for t in tones if t in chord] or [t for t in tones if t in scale]
    return (shared or tones)[0]


def _tones(key: Key, order: tuple[str, ...]) -> list[int]:
    root, third, fifth = tonic_triad(key).pitch_classes
    return [{"root": root, "third": third, "fifth": fifth}[name] for name in order]
