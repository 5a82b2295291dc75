"""What was measured on a candidate, and what it means.

From a finding in its own unit to a score of 0..1.

When two candidates score the same: a difference below the noise of the measurement is a tie.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

TIE_SCORE: Final = 0.006
"""Differences below it mean nothing: twice the spread of the overall score when a candidate is
moved to another key or played by other drums (one sigma 0.002 to 0.003 on 28 pairs; of the
difference of two options of a pair 0.003 to 0.004), measured by `benchmarks.score`."""


def ties_of_cards(best_first: Sequence[Scorecard]) -> tuple[bool, ...]:
    """For each card, whether it ties with the one before it; one with a bad fault never does."""
    gaps = ties_with_next_better([card.overall for card in best_first])
    return tuple(is_tie and not card.faults for is_tie, card in zip(gaps, best_first, strict=True))


def ties_with_next_better(best_first: Sequence[float]) -> tuple[bool, ...]:
    """For each overall score, whether it ties with the one before it; the first never does.

    Examples
    --------
    >>> ties_with_next_better([0.9, 0.895, 0.8])
    (False, True, False)
    """
    gaps = [a - b for a, b in pairwise(best_first)]
    return (False, *(gap < TIE_SCORE for gap in gaps))[: len(best_first)]


TAIL: Final = 0.1
"""Score at the bad anchor: worse still fades from here towards 0, so more of a fault is always
told from less."""


def falling(value: float, *, good: float, bad: float) -> float:
    """Score of something to be kept small: 1 up to `good`, linear to `TAIL` at `bad`, then fading.

    Examples
    --------
    >>> falling(3.0, good=1.0, bad=5.0), falling(0.0, good=1.0, bad=5.0)
    (0.55, 1.0)
    >>> round(falling(9.0, good=1.0, bad=5.0), 3)
    0.037
    """
    if math.isnan(value):
        return 0.0
    way = (value - good) / (bad - good)
    if way > 1.0:
        return TAIL * math.exp(1.0 - way)
    return 1.0 - (1.0 - TAIL) * max(way, 0.0)


def rising(value: float, *, bad: float, good: float) -> float:
    """Score of something to be had in plenty: 0 up to `bad`, linear, 1 from `good` on.

    Examples
    --------
    >>> rising(6.0, bad=0.0, good=8.0)
    0.75
    """
    if math.isnan(value):
        return 0.0
    return min(max((value - bad) / (good - bad), 0.0), 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One thing measured on the rendered music.

    Parameters
    ----------
    name : str
        Stable identifier, such as 'key_arrival'.
    label : str
        As shown to people, such as 'key arrival'.
    value : float
        In `unit`.
    unit : str
        For example 's', 'LU', 'JND'; empty for a pure number.
    score : float
        0 (bad) to 1 (good).
    threshold : str
        What the score is judged by, in words and numbers.
    source : str
        Where the threshold comes from, or 'common practice, no source', or
        'set by judgement'.
    sentence : str
        The finding in plain words.
    worst_beat : float or None
        Beat of the plan where it was worst.
    """

    name: str
    label: str
    value: float
    unit: str
    score: float
    threshold: str
    source: str
    sentence: str
    worst_beat: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 <= self.score <= 1.0:
            raise ValueError(f"score of {self.name} must be within 0..1, got {self.score}")


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMeasured:
    """Something that could not be heard here: it has no mark, and no share in the total.

    Parameters
    ----------
    name, label : str
        Of the measure.
    why : str
        Such as 'nobody plays the beat here'.
    """

    name: str
    label: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BadFault:
    """A bad fault: a segue that has one is not ranked before one that has none.

    Parameters
    ----------
    name : str
        Of the measure that tells of it.
    sentence : str
        Such as 'a hole of 1.8 s'.
    """

    name: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveSample:
    """A measured value at a time of the candidate, for pictures."""

    time_s: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scorecard:
    """All measures of a candidate and their weighted mean.

    Parameters
    ----------
    overall : float
        Weighted mean of the scores, 0..1.
    not_measured : tuple of NotMeasured
        What could not be heard and has no mark.
    faults : tuple of BadFault
        Bad ones, which keep it from being first.
    loudness_lufs, key_distance_from, key_distance_to, tempo_bpm : tuple of CurveSample
        Momentary loudness, tonal distance of what sounds from the old and
        from the new key (0..1), and tempo, over the candidate.
    """

    measures: tuple[Measure, ...]
    overall: float
    loudness_lufs: tuple[CurveSample, ...] = ()
    key_distance_from: tuple[CurveSample, ...] = ()
    key_distance_to: tuple[CurveSample, ...] = ()
    tempo_bpm: tuple[CurveSample, ...] = ()
    not_measured: tuple[NotMeasured, ...] = ()
    faults: tuple[BadFault, ...] = ()

    @property
    def order(self) -> tuple[bool, float]:
        """Sorts cards best first: those without a bad fault, then by their total."""
        return bool(self.faults), -self.overall

    def measure(self, name: str) -> Measure:
        """Look up a measure by its name.

        Raises
        ------
        KeyError
            If there is none of that name.
        """
        for measure in self.measures:
            if measure.name == name:
                return measure
        raise KeyError(name)
