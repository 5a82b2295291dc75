"""What is certain about a score: its beats, and its key at either end.

A piece is used only where its key is beyond doubt:

1. the lowest note of the last sonority is a tonic of the last key signature, major or
   minor, and a major key does not end on a minor third (a minor one may end in major);
2. an opening has the same key signature, and the bass of its first bar line is the first,
   third or fifth degree;
3. the time signature and key signature do not change inside the excerpt, and its bars have
   eight beats at least (where parts repeat unequally, bars end before the notes do);
4. the notated key is the best of all 24 for the notes of the excerpt by at least two of
   four profile sets that music21 has (Krumhansl-Schmuckler, Aarden-Essen, Bellman-Budge,
   Temperley-Kostka-Payne).
"""

import functools
import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from benchmarks._scores import Bar, Score, ScoreNote

BEATS_OF_SIGNATURE: Final = {
    "4/4": (4, 1.0),
    "3/4": (3, 1.0),
    "2/4": (2, 1.0),
    "2/2": (2, 2.0),
    "6/8": (2, 1.5),
    "9/8": (3, 1.5),
    "12/8": (4, 1.5),
}
"""Beats in a bar and quarter lengths of a beat."""
LEAST_BEATS: Final = 8
PROFILE_SETS_THAT_MUST_AGREE: Final = 2

Mode = Literal["major", "minor"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreKey:
    """Tonic as a pitch class, and mode."""

    tonic: int
    mode: Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreBeat:
    """A beat's position in quarter lengths."""

    at_quarters: float
    is_downbeat: bool


def is_close(first: float, second: float) -> bool:
    """Whether two positions of a score are the same."""
    return math.isclose(first, second, abs_tol=1e-6)


def signature_of(bar: Bar) -> str:
    """Time signature of a bar."""
    return f"{bar.numerator}/{bar.denominator}"


def final_key(score: Score) -> ScoreKey | None:
    """The key that a piece ends in, by rule 1."""
    end = max(note.start_quarters + note.length_quarters for note in score.notes)
    last = [n for n in score.notes if is_close(n.start_quarters + n.length_quarters, end)]
    sharps = score.bars[-1].sharps
    if sharps is None:
        return None
    bass = min(note.midi for note in last) % 12
    major_tonic = 7 * sharps % 12
    classes = {(note.midi - bass) % 12 for note in last}
    minor_third = 3
    if bass == major_tonic and minor_third not in classes:
        return ScoreKey(tonic=bass, mode="major")
    if bass == (major_tonic - minor_third) % 12:
        return ScoreKey(tonic=bass, mode="minor")
    return None


def opens_in(score: Score, key: ScoreKey) -> bool:
    """Whether the first bar line stands on the key, by rule 2."""
    if score.bars[0].sharps != score.bars[-1].sharps:
        return False
    first = score.bars[1] if is_short(score.bars[0]) and len(score.bars) > 1 else score.bars[0]
    from_quarters = first.start_quarters
    bass = min(
        (n.midi for n in score.notes if is_close(n.start_quarters, from_quarters)), default=None
    )
    third = 4 if key.mode == "major" else 3
    return bass is not None and (bass - key.tonic) % 12 in (0, third, 7)


def is_short(bar: Bar) -> bool:
    """Whether a bar has less than its time signature asks for, as a pick-up has."""
    return bar.length_quarters < 4 * bar.numerator / bar.denominator - 1e-6


def beats_between(score: Score, first: float, last: float) -> list[ScoreBeat] | None:
    """Beats from `first` to `last` in quarter lengths, or None where rule 3 is broken.

    A short first bar is a pick-up; two short bars that fill one are a bar cut by a repeat.
    """
    inside = [b for b in score.bars if b.start_quarters + b.length_quarters > first + 1e-6]
    inside = [bar for bar in inside if bar.start_quarters < last - 1e-6]
    kinds = {(signature_of(bar), bar.sharps) for bar in inside}
    if len(kinds) != 1 or signature_of(inside[0]) not in BEATS_OF_SIGNATURE:
        return None
    n_beats, beat = BEATS_OF_SIGNATURE[signature_of(inside[0])]
    lines = _bar_lines(inside, n_beats * beat, is_first=inside[0] is score.bars[0])
    if lines is None:
        return None
    beats = [
        ScoreBeat(at_quarters=line + number * beat, is_downbeat=number == 0)
        for line in [lines[0] - n_beats * beat, *lines]
        for number in range(n_beats)
    ]
    heard = [b for b in beats if first - 1e-6 <= b.at_quarters <= last - 1e-6]
    return heard if len(heard) >= LEAST_BEATS else None


def _bar_lines(bars: list[Bar], full: float, *, is_first: bool) -> list[float] | None:
    """Where bars begin, with cut bars mended; None where that is not possible."""
    lines: list[float] = []
    expected: float | None = None
    for number, bar in enumerate(bars):
        is_pick_up = number == 0 and is_first and bar.length_quarters < full - 1e-6
        if is_pick_up:
            expected = bar.start_quarters + bar.length_quarters
            continue
        if bar.length_quarters > full + 1e-6:
            return None
        if expected is None or is_close(bar.start_quarters, expected):
            lines.append(bar.start_quarters)
            expected = bar.start_quarters + full
        elif bar.start_quarters + bar.length_quarters > expected + 1e-6:
            return None
    return lines or None


def is_surely_in(key: ScoreKey, notes: list[ScoreNote]) -> bool:
    """Whether enough profile sets find the key in the notes of the excerpt, by rule 4."""
    shares = np.zeros(12)
    for note in notes:
        shares[note.midi % 12] += note.length_quarters
    wanted = key.tonic + (12 if key.mode == "minor" else 0)
    best = [int(np.argmax(_fits(shares, profiles))) for profiles in _profile_sets()]
    return best.count(wanted) >= PROFILE_SETS_THAT_MUST_AGREE


def _fits(shares: npt.NDArray[np.float64], profiles: npt.NDArray[np.float64]) -> list[float]:
    """Correlation with the twelve major and the twelve minor keys."""
    return [
        float(np.corrcoef(shares, np.roll(profile, tonic))[0, 1])
        for profile in profiles
        for tonic in range(12)
    ]


@functools.cache
def _profile_sets() -> tuple[npt.NDArray[np.float64], ...]:
    """Major and minor profile, tonic first, of each set."""
    from music21.analysis import discrete

    sets = (
        discrete.KrumhanslSchmuckler,
        discrete.AardenEssen,
        discrete.BellmanBudge,
        discrete.TemperleyKostkaPayne,
    )
    return tuple(
        np.array([profile_set().getWeights(mode) for mode in ("major", "minor")])  # type: ignore[no-untyped-call]  # music21 leaves it so
        for profile_set in sets
    )
