"""Chords, their symbols, and their numerals in a key.

A chord is a root and a quality; a numeral is upper case for major thirds and
lower case for minor ones, as in common teaching, with b for a lowered degree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from segue.music.key import N_PITCH_CLASSES, Key, pitch_class_name

Quality = Literal["major", "minor", "dominant seventh"]

_INTERVALS: Final[dict[Quality, tuple[int, ...]]] = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "dominant seventh": (0, 4, 7, 10),
}
_SUFFIX: Final[dict[Quality, str]] = {"major": "", "minor": "m", "dominant seventh": "7"}
_NUMERALS: Final[dict[str, tuple[str, ...]]] = {
    "major": ("I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII"),
    "minor": ("I", "bII", "II", "III", "#III", "IV", "#IV", "V", "VI", "#VI", "VII", "#VII"),
}
"""Degree names by semitones above the tonic; in minor counted from the natural minor scale."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Chord:
    """A chord by root and quality.

    Parameters
    ----------
    root : int
        Pitch class, C = 0.
    quality : {'major', 'minor', 'dominant seventh'}

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

    def roman(self, key: Key) -> str:
        """Numeral of the chord in a key.

        Examples
        --------
        >>> Chord(root=7, quality="dominant seventh").roman(Key(tonic=0, mode="minor"))
        'V7'
        """
        numeral = _NUMERALS[key.mode][(self.root - key.tonic) % N_PITCH_CLASSES]
        if self.quality == "minor":
            return numeral[: -len(numeral.lstrip("b#"))] + numeral.lstrip("b#").lower()
        return numeral + ("7" if self.quality == "dominant seventh" else "")

    def transposed(self, semitones: int) -> Chord:
        """The chord moved by whole semitones."""
        return Chord(root=(self.root + semitones) % N_PITCH_CLASSES, quality=self.quality)


def tonic_triad(key: Key) -> Chord:
    """The triad on the tonic."""
    return Chord(root=key.tonic, quality=key.mode)
