"""Chords as people write them: by symbols, or by numerals that fit any key.

Numerals are counted on the major scale of the tonic whatever the mode, as players count who
change keys: bVII is a whole tone below the tonic in major and in minor. Lower case is minor, a 7
behind it the dominant seventh.
"""

from __future__ import annotations

import re
from typing import Final

from segue.errors import OptionError, shortened
from segue.music.chord import NUMERALS, Chord, Quality, fit, lower_case
from segue.music.chord_path import PathStep
from segue.music.key import LETTERS, N_PITCH_CLASSES, Key

_SYMBOL: Final = re.compile(r"([A-G])(#|b|♯|♭)?(m|min|-|maj|M|7)?")
_NUMERAL: Final = re.compile(r"(#|b)?(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(7)?")
_DEGREES: Final = {"I": 0, "II": 2, "III": 4, "IV": 5, "V": 7, "VI": 9, "VII": 11}
_ACCIDENTALS: Final = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_QUALITIES: Final[dict[str, Quality]] = {
    "": "major",
    "maj": "major",
    "M": "major",
    "m": "minor",
    "min": "minor",
    "-": "minor",
    "7": "dominant seventh",
}
_PLAYED: Final = "Segue plays major, minor and seventh chords, such as C, Em and C7"


def parse_chord(text: str) -> Chord:
    """The chord that a symbol names.

    Raises
    ------
    OptionError
        If it is no symbol, or of a chord that is not played here.

    Examples
    --------
    >>> parse_chord("F#m"), parse_chord("Db7").root
    (Chord(root=6, quality='minor'), 1)
    """
    match = _SYMBOL.fullmatch(text.strip())
    if match is None:
        raise OptionError(f"'{shortened(text)}' is no chord that can be played here: {_PLAYED}.")
    letter, accidental, kind = (part or "" for part in match.groups())
    root = (LETTERS[letter] + _ACCIDENTALS[accidental]) % N_PITCH_CLASSES
    return Chord(root=root, quality=_QUALITIES[kind])


def parse_numeral(text: str, key: Key) -> Chord:
    """The chord that a numeral names in a key.

    Raises
    ------
    ValueError
        If it is no numeral.

    Examples
    --------
    >>> parse_numeral("bVII", Key(tonic=0, mode="minor")).symbol(flats=True)
    'Bb'
    """
    match = _NUMERAL.fullmatch(text)
    if match is None or (match[3] and match[2].islower()):
        raise ValueError(
            f"'{shortened(text)}' is not a numeral; write I, ii, bVII or V7, "
            "counted on the major scale"
        )
    semitones = _DEGREES[match[2].upper()] + _ACCIDENTALS[match[1] or ""]
    quality: Quality = "minor" if match[2].islower() else "major"
    return Chord(
        root=(key.tonic + semitones) % N_PITCH_CLASSES,
        quality="dominant seventh" if match[3] else quality,
    )


def numeral_of(chord: Chord, key: Key) -> str:
    """The numeral of a chord in a key, which `parse_numeral` reads.

    Examples
    --------
    >>> numeral_of(parse_chord("C7"), Key(tonic=5, mode="minor"))
    'V7'
    """
    numeral = NUMERALS["major"][(chord.root - key.tonic) % N_PITCH_CLASSES]
    if chord.quality == "minor":
        return lower_case(numeral)
    return numeral + ("7" if chord.quality == "dominant seventh" else "")


def written_steps(chords: str, old: Key, new: Key) -> list[PathStep]:
    """Written chords, each in the key that it is heard in.

    Parameters
    ----------
    chords : str
        Numerals in the new key.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> e_minor, f_minor = parse_key("E minor"), parse_key("F minor")
    >>> [step.symbol for step in written_steps("vii V bVI V7", e_minor, f_minor)]
    ['Em', 'C', 'Db', 'C7']
    """
    steps = []
    for word in chords.split():
        chord = parse_numeral(word, new)
        is_old = fit(chord, old) == "own" and fit(chord, new) != "own"
        steps.append(PathStep(chord=chord, key=old if is_old else new))
    return steps
