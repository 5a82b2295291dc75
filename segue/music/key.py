"""Keys and pitch classes as musicians write them.

Pitch classes are integers 0..11 with C = 0. A `Key` is a tonic pitch class
and a mode; its spelling (F# or Gb) follows the key signature with the fewer
accidentals, and where both have six, the commoner one on the stand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, get_args

from segue.errors import KeyNameError, shortened

Mode = Literal["major", "minor"]
MODES: Final[tuple[Mode, ...]] = get_args(Mode)

N_PITCH_CLASSES: Final = 12  # of equal temperament, an octave apart counting as one

MAJOR_TONICS: Final = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
"""Usual spelling of each major tonic; F# and Gb major have six accidentals each."""

MINOR_TONICS: Final = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
"""Usual spelling of each minor tonic; Eb and D# minor have six accidentals each."""

LETTERS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Pitch classes of the notes without accidentals, in the order of the scale."""

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
_FLAT_SIGNATURES: Final = frozenset({5, 10, 3, 8, 1})
"""Major tonics whose signatures have flats: F, Bb, Eb, Ab, Db."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Key:
    """A major or minor key.

    Parameters
    ----------
    tonic : int
        Pitch class of the tonic, 0..11, C = 0.
    mode : {'major', 'minor'}
        Mode.

    Raises
    ------
    ValueError
        If the tonic is outside 0..11 or the mode is unknown.

    Examples
    --------
    >>> str(Key(tonic=6, mode="minor"))
    'F# minor'
    """

    tonic: int
    mode: Mode

    def __post_init__(self) -> None:
        if not 0 <= self.tonic < N_PITCH_CLASSES:
            raise ValueError(f"tonic {self.tonic} is not a pitch class 0..11")
        if self.mode not in MODES:
            raise ValueError(f"mode {self.mode!r} is neither major nor minor")

    def __str__(self) -> str:
        return f"{self.tonic_name} {self.mode}"

    @property
    def tonic_name(self) -> str:
        """The tonic as a musician would spell it, ASCII accidentals."""
        names = MAJOR_TONICS if self.mode == "major" else MINOR_TONICS
        return names[self.tonic]

    @property
    def relative_major_tonic(self) -> int:
        """Tonic of the major key with the same signature."""
        return self.tonic if self.mode == "major" else (self.tonic + 3) % N_PITCH_CLASSES

    @property
    def prefers_flats(self) -> bool:
        """Whether the key signature has flats."""
        return self.relative_major_tonic in _FLAT_SIGNATURES or self.tonic_name.endswith("b")

    def transposed(self, semitones: int) -> Key:
        """The key moved by whole semitones.

        Examples
        --------
        >>> str(Key(tonic=4, mode="minor").transposed(1))
        'F minor'
        """
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

    Returns
    -------
    Key
        The key.

    Raises
    ------
    KeyNameError
        If the text is not a key name.

    Examples
    --------
    >>> str(parse_key("Gb minor"))
    'F# minor'
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
    tonic = (LETTERS[letter.upper()] + _accidental_semitones(accidental)) % N_PITCH_CLASSES
    return Key(tonic=tonic, mode=mode)


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
    """MIDI number of a note that a text names.

    Parameters
    ----------
    text : str
        A letter, an accidental and an octave, such as ``"Bb3"`` (C4 is middle
        C), or a MIDI number with or without decimals.

    Returns
    -------
    float
        MIDI note number, 0..127.

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
