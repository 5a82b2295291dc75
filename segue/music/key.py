"""Keys and pitch classes as musicians write them.

Pitch classes are integers 0..11 with C = 0. A `Key` is a tonic pitch class
and a mode; its spelling (F# or Gb) is the one that somebody typed, or else follows
the key signature with the fewer accidentals, and where both have six, the commoner
one on the stand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, Literal, get_args, overload

from segue.errors import KeyNameError, shortened

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from segue.arrays import Floats

Mode = Literal["major", "minor"]
MODES: Final[tuple[Mode, ...]] = get_args(Mode)

N_PITCH_CLASSES: Final = 12  # of equal temperament, an octave apart counting as one

MAJOR_TONICS: Final = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
"""Usual spelling of each major tonic; F# and Gb major have six accidentals each."""

MINOR_TONICS: Final = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
"""Usual spelling of each minor tonic; Eb and D# minor have six accidentals each."""

LETTERS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Pitch classes of the notes without accidentals, in the order of the scale."""

_ACCIDENTALS: Final = {"": 0, "#": 1, "b": -1}  # semitones
_NAME = re.compile(r"([A-Ga-g])\s*(#|♯|b|♭|-?sharp|-?flat)?\s*(.*)", re.DOTALL)
_NOTE = re.compile(r"([A-Ga-g])\s*(#|♯|b|♭)?\s*(-?\d)")
HIGHEST_MIDI: Final = 127  # the highest note number of the MIDI standard
_MODE_WORDS: Final[dict[str, Mode | None]] = {
    "": None,
    "major": "major",
    "maj": "major",
    "minor": "minor",
    "min": "minor",
    "m": "minor",
}
_SHARPS: Final = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
"""Sharps of the major key on each letter, flats negative: the circle of fifths."""
_SCALES: Final[dict[Mode, tuple[int, ...]]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10),
}
_LEADING_TONE: Final = 11  # semitones above the tonic; in minor it is written on the seventh degree


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Key:
    """A major or minor key.

    Parameters
    ----------
    tonic : int
        Pitch class of the tonic, 0..11, C = 0.
    mode : {'major', 'minor'}
        Mode.
    spelled : str
        The tonic as it was typed, where that is not the usual spelling. Gb and F# are one key
        to everything but a reader: it plays no part in comparing.

    Raises
    ------
    ValueError
        If the tonic is outside 0..11, the mode is unknown or the spelling is of another note.

    Examples
    --------
    >>> str(Key(tonic=6, mode="minor"))
    'F# minor'
    """

    tonic: int
    mode: Mode
    spelled: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if not 0 <= self.tonic < N_PITCH_CLASSES:
            raise ValueError(f"tonic {self.tonic} is not a pitch class 0..11")
        if self.mode not in MODES:
            raise ValueError(f"mode {self.mode!r} is neither major nor minor")
        if self.spelled and pitch_class_of(self.spelled) != self.tonic:
            raise ValueError(f"{self.spelled!r} is no name of pitch class {self.tonic}")

    def __str__(self) -> str:
        return f"{self.tonic_name} {self.mode}"

    @property
    def tonic_name(self) -> str:
        """The tonic as a musician would spell it, ASCII accidentals."""
        names = MAJOR_TONICS if self.mode == "major" else MINOR_TONICS
        return self.spelled or names[self.tonic]

    @property
    def n_sharps(self) -> int:
        """Sharps of the key signature as the key is spelled, flats negative."""
        letter, accidentals = self.tonic_name[0], self.tonic_name[1:]
        third = 3 if self.mode == "minor" else 0
        return _SHARPS[letter] + 7 * (accidentals.count("#") - accidentals.count("b")) - third

    @property
    def relative_major_tonic(self) -> int:
        """Tonic of the major key with the same signature."""
        return self.tonic if self.mode == "major" else (self.tonic + 3) % N_PITCH_CLASSES

    @property
    def prefers_flats(self) -> bool:
        """Whether the key signature has flats."""
        return self.n_sharps < 0

    def transposed(self, semitones: int) -> Key:
        """The key moved by whole semitones.

        Examples
        --------
        >>> str(Key(tonic=4, mode="minor").transposed(1))
        'F minor'
        """
        if semitones % N_PITCH_CLASSES == 0:
            return self  # as it is spelled
        return Key(tonic=(self.tonic + semitones) % N_PITCH_CLASSES, mode=self.mode)


ALL_KEYS: Final[tuple[Key, ...]] = tuple(
    Key(tonic=tonic, mode=mode) for mode in MODES for tonic in range(N_PITCH_CLASSES)
)
"""The 24 keys: majors from C, then minors from C."""


def parse_key(text: str) -> Key:
    """The key that a text names.

    Parameters
    ----------
    text : str
        For example ``"F# minor"``, ``"Bb"`` (major), ``"c♯m"``, ``"A flat major"``.
        A lone lower-case letter with no mode word means minor, as is usual in scores.

    Raises
    ------
    KeyNameError
        If the text is not a key name.

    Examples
    --------
    >>> str(parse_key("Gb minor")), str(parse_key("c♯m"))
    ('Gb minor', 'C# minor')
    """
    match = _NAME.fullmatch(text.strip())
    if match is None:
        raise _not_a_key(text)
    letter, accidental, rest = match.groups()
    word = rest.strip() if rest.strip() == "M" else rest.strip().lower()
    if word != "M" and word not in _MODE_WORDS:
        raise _not_a_key(text)
    mode = "major" if word == "M" else _MODE_WORDS[word]
    if mode is None:
        mode = "minor" if letter.islower() else "major"
    semitones = _accidental_semitones(accidental)
    name = letter.upper() + {0: "", 1: "#", -1: "b"}[semitones]
    usual = Key(tonic=pitch_class_of(name), mode=mode)
    return usual if usual.tonic_name == name else replace(usual, spelled=name)


def pitch_class_of(name: str) -> int:
    """Pitch class of a note without its octave, such as 'Gb'.

    Raises
    ------
    ValueError
        If it is no such name.

    Examples
    --------
    >>> pitch_class_of("Gb"), pitch_class_of("E#")
    (6, 5)
    """
    letter, accidental = name[:1], name[1:]
    if letter not in LETTERS or accidental not in _ACCIDENTALS:
        raise ValueError(f"{name!r} is no note")
    return (LETTERS[letter] + _ACCIDENTALS[accidental]) % N_PITCH_CLASSES


def letter_name(pitch_class: int, letter: str) -> str | None:
    """A pitch class written on a letter, with at most one accidental; None where that is too few.

    Examples
    --------
    >>> letter_name(5, "E"), letter_name(5, "D")
    ('E#', None)
    """
    apart = (pitch_class - LETTERS[letter]) % N_PITCH_CLASSES
    accidental = {0: "", 1: "#", N_PITCH_CLASSES - 1: "b"}.get(apart)
    return None if accidental is None else letter + accidental


def name_in(pitch_class: int, key: Key) -> str:
    """A pitch class as it is written in a key: on its own degree where it has one.

    The seventh degree of minor is written raised, too. What is foreign to the key, or would
    need a double accidental, has its plain name.

    Examples
    --------
    >>> sharp, minor = parse_key("F# major"), parse_key("F# minor")
    >>> name_in(5, sharp), name_in(5, minor), name_in(11, parse_key("Gb major"))
    ('E#', 'E#', 'Cb')
    """
    up = (pitch_class - key.tonic) % N_PITCH_CLASSES
    scale = _SCALES[key.mode]
    degree = len(scale) - 1 if up == _LEADING_TONE else scale.index(up) if up in scale else None
    plain = pitch_class_name(pitch_class, flats=key.prefers_flats)
    if degree is None:
        return plain
    letters = tuple(LETTERS)
    letter = letters[(letters.index(key.tonic_name[0]) + degree) % len(letters)]
    return letter_name(pitch_class, letter) or plain


def with_octave(name: str, midi: float) -> str:
    """A note's name with its octave, C4 = 60, counted by its letter: B#3 sounds as C4.

    Examples
    --------
    >>> with_octave("B#", 60), with_octave("Cb", 59), with_octave("A", 57.02)
    ('B#3', 'Cb4', 'A3')
    """
    written = round(midi) - _ACCIDENTALS[name[1:]]
    return f"{name}{written // N_PITCH_CLASSES - 1}"


def note_in(midi: float, key: Key | None) -> str:
    """Name of the nearest note with its octave, as it is written in a key; in none with sharps.

    Examples
    --------
    >>> note_in(65, parse_key("F# major")), note_in(65, None)
    ('E#4', 'F4')
    """
    nearest = round(midi)
    if key is None:
        return note_name(nearest, flats=False)
    return with_octave(name_in(nearest % N_PITCH_CLASSES, key), nearest)


def pitch_class_name(pitch_class: int, *, flats: bool) -> str:
    """Name of a pitch class, with flats or with sharps.

    Examples
    --------
    >>> pitch_class_name(10, flats=True), pitch_class_name(10, flats=False)
    ('Bb', 'A#')
    """
    sharps = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
    flat = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
    return (flat if flats else sharps)[pitch_class % N_PITCH_CLASSES]


def note_name(midi: float, *, flats: bool) -> str:
    """Name of the nearest equal-tempered note with its octave, C4 = 60.

    Examples
    --------
    >>> note_name(57.02, flats=False)
    'A3'
    """
    nearest = round(midi)
    octave = nearest // N_PITCH_CLASSES - 1
    return f"{pitch_class_name(nearest, flats=flats)}{octave}"


A4_HZ: Final = 440.0  # the tuning of ISO 16
A4_MIDI: Final = 69.0  # its note number in MIDI


@overload
def hertz_of(midi: float, cents: float = 0.0) -> float: ...
@overload
def hertz_of(midi: npt.NDArray[np.floating], cents: float = 0.0) -> Floats: ...
def hertz_of(midi: Any, cents: float = 0.0) -> Any:
    """Frequency of a note, or of many.

    Parameters
    ----------
    cents : float
        How far the tuning is above A4 = 440 Hz.

    Examples
    --------
    >>> hertz_of(57), round(hertz_of(69, 100.0), 2)
    (220.0, 466.16)
    """
    return A4_HZ * 2.0 ** ((midi - A4_MIDI) / 12.0 + cents / 1200.0)


def _accidental_semitones(accidental: str | None) -> int:
    if not accidental:
        return 0
    return 1 if accidental in {"#", "♯"} or accidental.endswith("sharp") else -1


def _not_a_key(text: str) -> KeyNameError:
    return KeyNameError(
        f"'{shortened(text)}' is not a key: write a tonic and a mode, "
        "such as 'F# minor' or 'Bb major'."
    )


def parse_note(text: str) -> float:
    """MIDI number of a note that a text names, 0 to 127.

    Parameters
    ----------
    text : str
        A letter, an accidental and an octave, such as ``"Bb3"`` (C4 is middle
        C), or a MIDI number with or without decimals.

    Raises
    ------
    KeyNameError
        If the text is not a note.

    Examples
    --------
    >>> parse_note("A4"), parse_note("Bb3"), parse_note("57.02")
    (69.0, 58.0, 57.02)
    """
    match = _NOTE.fullmatch(text.strip())
    if match is not None:
        letter, accidental, octave = match.groups()
        midi = float(
            LETTERS[letter.upper()] + _accidental_semitones(accidental) + 12 * (int(octave) + 1)
        )
    else:
        midi = _number(text)
    if not 0.0 <= midi <= HIGHEST_MIDI:
        raise KeyNameError(
            f"'{shortened(text)}' is not a note: write a name and an octave, such as 'Bb3'."
        )
    return midi


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return -1.0
