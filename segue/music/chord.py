"""Chords, their symbols, their numerals in a key, and which chords live in one.

A chord is a root and a quality; a numeral is upper case for major thirds and
lower case for minor ones, as in common teaching, with b for a lowered degree.
A cadence is the chord that announces a key, one before its tonic.

A key's own triads are those of its scale that a band plays (the diminished one
is left out), with the major dominant in minor keys. Borrowed are the common
guests: in major the triads of the parallel minor, in minor the major
subdominant, in both the Neapolitan. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, get_args

from segue.music.key import (
    LETTERS,
    N_PITCH_CLASSES,
    Key,
    Mode,
    letter_name,
    name_in,
    pitch_class_name,
    with_octave,
)

Quality = Literal["major", "minor", "dominant seventh"]

_INTERVALS: Final[dict[Quality, tuple[int, ...]]] = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "dominant seventh": (0, 4, 7, 10),
}
_SUFFIX: Final[dict[Quality, str]] = {"major": "", "minor": "m", "dominant seventh": "7"}
NUMERALS: Final[dict[str, tuple[str, ...]]] = {
    "major": ("I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII"),
    "minor": ("I", "bII", "II", "III", "#III", "IV", "#IV", "V", "VI", "#VI", "VII", "#VII"),
}
"""Degree names by semitones above the tonic; in minor counted from the natural minor scale."""
_DEGREES: Final = ("I", "II", "III", "IV", "V", "VI", "VII")
_UNUSUAL: Final = frozenset({"Cb", "Fb", "E#", "B#"})


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Chord:
    """A chord by root and quality.

    Parameters
    ----------
    root : int
        Pitch class, C = 0.

    Examples
    --------
    >>> Chord(root=0, quality="dominant seventh").symbol(flats=True)
    'C7'
    """

    root: int
    quality: Quality

    @property
    def pitch_classes(self) -> tuple[int, ...]:
        """Pitch classes from the root upwards."""
        return tuple((self.root + step) % N_PITCH_CLASSES for step in _INTERVALS[self.quality])

    @property
    def triad(self) -> Chord:
        """The chord without its seventh."""
        return Chord(root=self.root, quality="minor" if self.quality == "minor" else "major")

    def symbol(self, *, flats: bool) -> str:
        """Chord symbol, such as 'F#m' or 'C7'."""
        return pitch_class_name(self.root, flats=flats) + _SUFFIX[self.quality]

    def symbol_in(self, key: Key) -> str:
        """Chord symbol, the root spelled by its degree in a key.

        A root outside the scale gets its plain name where the degree's would be
        a double accidental or one of Cb, Fb, E# and B#.

        Examples
        --------
        >>> Chord(root=11, quality="major").symbol_in(Key(tonic=3, mode="minor"))
        'Cb'
        >>> Chord(root=11, quality="major").symbol_in(Key(tonic=1, mode="major"))
        'B'
        """
        return _root_name(self.root, key) + _SUFFIX[self.quality]

    def note_in(self, midi: int, key: Key) -> str:
        """A note of the chord with its octave, written in thirds above the root.

        A note that is none of the chord, or would need a double accidental, is written as in
        the key.

        Examples
        --------
        >>> c_sharp = Chord(root=1, quality="dominant seventh")
        >>> [c_sharp.note_in(midi, Key(tonic=6, mode="major")) for midi in (49, 53, 56, 59)]
        ['C#3', 'E#3', 'G#3', 'B3']
        """
        pitch_class = midi % N_PITCH_CLASSES
        name = None
        if pitch_class in self.pitch_classes:
            n_steps = 2 * self.pitch_classes.index(pitch_class)
            name = letter_name(pitch_class, _up(_root_name(self.root, key)[0], n_steps))
        return with_octave(name or name_in(pitch_class, key), midi)

    def roman(self, key: Key) -> str:
        """Numeral of the chord in a key; the seventh is told where it is the key's own, on V.

        Examples
        --------
        >>> Chord(root=7, quality="dominant seventh").roman(Key(tonic=0, mode="minor"))
        'V7'
        """
        numeral = _numeral(self.root, key)
        if self.quality == "minor":
            return lower_case(numeral)
        return numeral + ("7" if self.quality == "dominant seventh" and numeral == "V" else "")

    def transposed(self, semitones: int) -> Chord:
        """The chord moved by whole semitones."""
        return Chord(root=(self.root + semitones) % N_PITCH_CLASSES, quality=self.quality)


def lower_case(numeral: str) -> str:
    """The numeral of a minor chord, its accidental as it is: bvii of bVII."""
    degree = numeral.lstrip("b#")
    return numeral.removesuffix(degree) + degree.lower()


def _root_name(root: int, key: Key) -> str:
    numeral = _numeral(root, key)
    name = letter_name(root, _up(key.tonic_name[0], _DEGREES.index(numeral.lstrip("b#"))))
    is_in_scale = numeral in _DEGREES
    if name is None or (name in _UNUSUAL and not is_in_scale):
        return pitch_class_name(root, flats=key.prefers_flats)
    return name


def _up(letter: str, n_steps: int) -> str:
    letters = tuple(LETTERS)
    return letters[(letters.index(letter) + n_steps) % len(letters)]


def _numeral(root: int, key: Key) -> str:
    return NUMERALS[key.mode][(root - key.tonic) % N_PITCH_CLASSES]


def tonic_triad(key: Key) -> Chord:
    """The triad on the tonic."""
    return Chord(root=key.tonic, quality=key.mode)


Cadence = Literal["dominant", "subdominant", "flat seventh"]
CADENCES: Final[tuple[Cadence, ...]] = get_args(Cadence)
"""V7, IV (iv in minor) and bVII (VII in minor), each before the tonic."""

CadenceChoice = Literal["dominant", "subdominant", "flat seventh", "any"]
"""A cadence, or whichever comes cheapest."""
CADENCE_CHOICES: Final[tuple[CadenceChoice, ...]] = get_args(CadenceChoice)


def cadence_chord(cadence: Cadence, key: Key) -> Chord:
    """The last chord before the tonic.

    With its seventh where it is the dominant.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> key = parse_key("G major")
    >>> [cadence_chord(cadence, key).symbol(flats=False) for cadence in CADENCES]
    ['D7', 'C', 'F']
    """
    match cadence:
        case "dominant":
            return Chord(root=(key.tonic + 7) % N_PITCH_CLASSES, quality="dominant seventh")
        case "subdominant":
            return Chord(root=(key.tonic + 5) % N_PITCH_CLASSES, quality=key.mode)
        case "flat seventh":
            return Chord(root=(key.tonic + 10) % N_PITCH_CLASSES, quality="major")


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
