"""What bands play: chord loops, drum patterns, bass lines and ways of comping.

Positions are in beats from the bar line. They are common practice, no source.
"""

from dataclasses import dataclass
from typing import Final, Literal

KICK, RIM, SNARE, CLAP = 36, 37, 38, 39
CLOSED_HAT, PEDAL_HAT, OPEN_HAT = 42, 44, 46
CRASH, RIDE = 49, 51
LOW_TOM, HIGH_TOM = 45, 50

Hit = tuple[int, float, int]
"""Drum, position in beats, velocity."""
Chord = tuple[int, tuple[int, ...]]
"""Root in semitones above the tonic, and intervals above the root."""

MAJ, MIN, DIM = (0, 4, 7), (0, 3, 7), (0, 3, 6)
DOM7, MAJ7, MIN7 = (0, 4, 7, 10), (0, 4, 7, 11), (0, 3, 7, 10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """Chords that go round; `scale` is what the melody uses, in semitones above the tonic."""

    name: str
    mode: Literal["major", "minor"]
    chords: tuple[Chord, ...]
    scale: tuple[int, ...]


IONIAN: Final = (0, 2, 4, 5, 7, 9, 11)
MIXOLYDIAN: Final = (0, 2, 4, 5, 7, 9, 10)
DORIAN: Final = (0, 2, 3, 5, 7, 9, 10)
AEOLIAN: Final = (0, 2, 3, 5, 7, 8, 10)
HARMONIC: Final = (0, 2, 3, 5, 7, 8, 11)
BLUES: Final = (0, 3, 5, 6, 7, 10)


def _loop(name: str, mode: Literal["major", "minor"], scale: tuple[int, ...]) -> Loop:
    return Loop(name=name, mode=mode, scale=scale, chords=tuple(_chord(c) for c in name.split()))


def _chord(symbol: str) -> Chord:
    """A chord from its numeral: capitals are major triads, `b` lowers the root."""
    numerals = {"i": 0, "ii": 2, "iii": 4, "iv": 5, "v": 7, "vi": 9, "vii": 11}
    bare = symbol.removeprefix("b").removesuffix("7")
    root = numerals[bare.lower()] - symbol.startswith("b")
    triad = MAJ if bare.isupper() else MIN
    return root, (*triad, 10) if symbol.endswith("7") else triad


LOOPS: Final = (
    _loop("I V vi IV", "major", IONIAN),
    _loop("I vi IV V", "major", IONIAN),
    _loop("I IV V IV", "major", IONIAN),
    _loop("I IV I V7", "major", IONIAN),
    _loop("I vi ii V7", "major", IONIAN),
    _loop("I iii IV V", "major", IONIAN),
    _loop("I IV vi V", "major", IONIAN),
    _loop("I bVII IV I", "major", MIXOLYDIAN),
    _loop("I I bVII IV", "major", MIXOLYDIAN),
    _loop("I bVII I bVII", "major", MIXOLYDIAN),
    _loop("I7 IV7 I7 I7 IV7 IV7 I7 I7 V7 IV7 I7 V7", "major", BLUES),
    _loop("i bVII bVI bVII", "minor", AEOLIAN),
    _loop("i bVI bIII bVII", "minor", AEOLIAN),
    _loop("i bIII bVII bVI", "minor", AEOLIAN),
    _loop("i iv v i", "minor", AEOLIAN),
    _loop("i bVII iv i", "minor", AEOLIAN),
    _loop("i iv i V7", "minor", HARMONIC),
    _loop("i bVII bVI V7", "minor", HARMONIC),
    _loop("i bVI iv V", "minor", HARMONIC),
    _loop("i IV i IV", "minor", DORIAN),
    _loop("i bIII bVII IV", "minor", DORIAN),
    _loop("i i i i iv iv i i bVI V7 i V7", "minor", HARMONIC),
)


def _hits(drum: int, positions: tuple[float, ...], velocity: int) -> list[Hit]:
    return [(drum, position, velocity) for position in positions]


def _steps(step: float, to: float, start: float = 0.0) -> tuple[float, ...]:
    return tuple(start + step * number for number in range(round((to - start) / step)))


FOUR: Final[dict[str, list[Hit]]] = {
    "straight": _hits(KICK, (0, 2), 110)
    + _hits(SNARE, (1, 3), 105)
    + _hits(CLOSED_HAT, _steps(0.5, 4), 80),
    "straight busy": _hits(KICK, (0, 1.5, 2, 2.5), 108)
    + _hits(SNARE, (1, 3), 108)
    + _hits(CLOSED_HAT, _steps(0.25, 4), 70),
    "swing": _hits(RIDE, (0, 1, 1.5, 2, 3, 3.5), 85)
    + _hits(PEDAL_HAT, (1, 3), 75)
    + _hits(KICK, (0, 2), 70)
    + _hits(SNARE, (2.5,), 45),
    "shuffle": _hits(CLOSED_HAT, _steps(0.5, 4), 82)
    + _hits(KICK, (0, 2), 108)
    + _hits(SNARE, (1, 3), 106),
    "half-time": _hits(KICK, (0, 1.5), 112)
    + _hits(SNARE, (2,), 112)
    + _hits(CLOSED_HAT, _steps(0.5, 4), 78),
    "double-time": _hits(KICK, (0, 1, 2, 3), 106)
    + _hits(SNARE, (0.5, 1.5, 2.5, 3.5), 100)
    + _hits(CLOSED_HAT, _steps(0.25, 4), 72),
    "four on the floor": _hits(KICK, (0, 1, 2, 3), 115)
    + _hits(CLAP, (1, 3), 95)
    + _hits(OPEN_HAT, (0.5, 1.5, 2.5, 3.5), 80)
    + _hits(CLOSED_HAT, (0, 1, 2, 3), 60),
    "breakbeat": _hits(KICK, (0, 0.5, 2.5, 2.75), 110)
    + _hits(SNARE, (1, 3), 110)
    + _hits(SNARE, (1.75, 2.25, 3.75), 55)
    + _hits(CLOSED_HAT, _steps(0.5, 4), 80),
    "sparse": _hits(KICK, (0,), 100) + _hits(RIM, (2,), 90) + _hits(CLOSED_HAT, (1, 3), 60),
    "bossa": _hits(KICK, (0, 1.5, 2, 3.5), 85)
    + _hits(RIM, (0, 1.5, 3), 85)
    + _hits(CLOSED_HAT, _steps(0.5, 4), 60),
}
THREE: Final[dict[str, list[Hit]]] = {
    "waltz": _hits(KICK, (0,), 105) + _hits(SNARE, (1, 2), 80) + _hits(CLOSED_HAT, (0, 1, 2), 70),
    "waltz ride": _hits(RIDE, (0, 1, 1.5, 2), 80)
    + _hits(KICK, (0,), 95)
    + _hits(PEDAL_HAT, (1, 2), 75),
    "waltz straight": _hits(KICK, (0,), 110)
    + _hits(SNARE, (2,), 90)
    + _hits(CLOSED_HAT, _steps(0.5, 3), 75),
}
T: Final = 1 / 3
SIX: Final[dict[str, list[Hit]]] = {
    "six": _hits(KICK, (0,), 110) + _hits(SNARE, (1,), 108) + _hits(CLOSED_HAT, _steps(T, 2), 78),
    "six busy": _hits(KICK, (0, 2 * T), 108)
    + _hits(SNARE, (1,), 108)
    + _hits(KICK, (1 + 2 * T,), 95)
    + _hits(CLOSED_HAT, _steps(T, 2), 78),
    "six ride": _hits(RIDE, _steps(T, 2), 75) + _hits(KICK, (0,), 100) + _hits(RIM, (1,), 90),
}
DRUMS_OF_METRE: Final = {"4/4": FOUR, "3/4": THREE, "6/8": SIX}
SWUNG: Final = ("swing", "shuffle", "waltz ride")

Step = tuple[float, float, int]
"""Position and length in beats, and what to play (a chord tone's number)."""
BASS: Final[dict[str, dict[str, tuple[Step, ...]]]] = {
    "4/4": {
        "long": ((0, 3.8, 0),),
        "halves": ((0, 1.9, 0), (2, 1.8, 0)),
        "root and fifth": ((0, 0.9, 0), (1, 0.9, 2), (2, 0.9, 0), (3, 0.9, 2)),
        "eighths": tuple((number / 2, 0.45, 0) for number in range(8)),
        "dotted": ((0, 1.4, 0), (1.5, 0.4, 0), (2, 1.4, 0), (3.5, 0.4, 2)),
        "walking": ((0, 0.9, 0), (1, 0.9, 1), (2, 0.9, 2), (3, 0.9, 1)),
        "offbeat": tuple((number + 0.5, 0.4, 0) for number in range(4)),
        "octaves": tuple((number / 2, 0.4, 3 * (number % 2)) for number in range(8)),
    },
    "3/4": {
        "long": ((0, 2.8, 0),),
        "root and fifth": ((0, 1.8, 0), (2, 0.9, 2)),
        "quarters": ((0, 0.9, 0), (1, 0.9, 1), (2, 0.9, 2)),
    },
    "6/8": {
        "halves": ((0, 0.9, 0), (1, 0.9, 0)),
        "lilt": ((0, 0.6, 0), (2 * T, 0.3, 2), (1, 0.6, 0), (1 + 2 * T, 0.3, 2)),
        "long": ((0, 1.9, 0),),
    },
}
ALL: Final = -1
"""The whole chord, in a comping step."""
COMPING: Final[dict[str, dict[str, tuple[Step, ...]]]] = {
    "4/4": {
        "pad": ((0, 3.9, ALL),),
        "quarters": tuple((number, 0.8, ALL) for number in range(4)),
        "offbeats": tuple((number + 0.5, 0.3, ALL) for number in range(4)),
        "eighths": tuple((number / 2, 0.4, ALL) for number in range(8)),
        "charleston": ((0, 1.3, ALL), (1.5, 0.4, ALL)),
        "pushed": ((0, 1.4, ALL), (1.5, 0.9, ALL), (2.5, 0.9, ALL), (3.5, 0.4, ALL)),
        "arpeggio": tuple(
            (number / 2, 0.6, tone) for number, tone in enumerate((0, 1, 2, 3, 4, 3, 2, 1))
        ),
        "sixteenths": tuple(
            (number / 4, 0.3, tone)
            for number, tone in enumerate((0, 1, 2, 1, 3, 2, 1, 2, 0, 1, 2, 1, 3, 2, 1, 2))
        ),
    },
    "3/4": {
        "waltz": ((1, 0.7, ALL), (2, 0.7, ALL)),
        "pad": ((0, 2.9, ALL),),
        "arpeggio": tuple((n / 2, 0.6, tone) for n, tone in enumerate((0, 1, 2, 3, 2, 1))),
    },
    "6/8": {
        "arpeggio": tuple((n * T, 0.4, tone) for n, tone in enumerate((0, 1, 2, 3, 2, 1))),
        "strum": ((0, 0.6, ALL), (2 * T, 0.3, ALL), (1, 0.6, ALL), (1 + 2 * T, 0.3, ALL)),
        "pad": ((0, 1.9, ALL),),
    },
}
