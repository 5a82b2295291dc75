"""The chords that live in a key: its own triads, and the ones it borrows.

A key's own triads are those of its scale that a band plays (the diminished one
is left out), with the major dominant in minor keys. Borrowed are the common
guests: in major the triads of the parallel minor, in minor the major
subdominant, in both the Neapolitan. Common practice, no source.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Literal

from segue.music.chord import Chord
from segue.music.key import N_PITCH_CLASSES, Key, Mode

Fit = Literal["own", "borrowed", "foreign"]

_Degrees = tuple[tuple[int, Mode], ...]

_OWN: Final[dict[Mode, _Degrees]] = {
    "major": ((0, "major"), (2, "minor"), (4, "minor"), (5, "major"), (7, "major"), (9, "minor")),
    "minor": (
        (0, "minor"),
        (3, "major"),
        (5, "minor"),
        (7, "major"),
        (7, "minor"),
        (8, "major"),
        (10, "major"),
    ),
}
"""Semitones above the tonic and quality."""

_BORROWED: Final[dict[Mode, _Degrees]] = {
    "major": ((1, "major"), (3, "major"), (5, "minor"), (8, "major"), (10, "major")),
    "minor": ((1, "major"), (5, "major")),
}


@lru_cache(maxsize=64)
def own_chords(key: Key) -> tuple[Chord, ...]:
    """The triads of a key's scale, and the major dominant of a minor key.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> [chord.symbol(flats=False) for chord in own_chords(parse_key("A minor"))]
    ['Am', 'C', 'Dm', 'E', 'Em', 'F', 'G']
    """
    return _chords(_OWN[key.mode], key)


@lru_cache(maxsize=64)
def borrowed_chords(key: Key) -> tuple[Chord, ...]:
    """The triads that a key borrows.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> [chord.symbol(flats=True) for chord in borrowed_chords(parse_key("A minor"))]
    ['Bb', 'D']
    """
    return _chords(_BORROWED[key.mode], key)


def shared_chords(old: Key, new: Key) -> tuple[Chord, ...]:
    """The triads that are two keys' own: the chords to pivot on.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> g, d, b_flat = (parse_key(name) for name in ("G major", "D major", "Bb major"))
    >>> [chord.symbol(flats=False) for chord in shared_chords(g, d)]
    ['D', 'Em', 'G', 'Bm']
    >>> shared_chords(g, b_flat)
    ()
    """
    return tuple(chord for chord in own_chords(new) if chord in own_chords(old))


def fit(chord: Chord, key: Key) -> Fit:
    """How a chord, heard without its seventh, belongs to a key.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> fit(Chord(root=5, quality="minor"), parse_key("C major"))
    'borrowed'
    """
    if chord.triad in own_chords(key):
        return "own"
    return "borrowed" if chord.triad in borrowed_chords(key) else "foreign"


def _chords(degrees: _Degrees, key: Key) -> tuple[Chord, ...]:
    return tuple(
        Chord(root=(key.tonic + semitones) % N_PITCH_CLASSES, quality=quality)
        for semitones, quality in degrees
    )
