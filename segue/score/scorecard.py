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


_PRACTICE: Final = "common practice, no source"
_JUDGED: Final = "set by judgement"
_ON_SONGS: Final = "set by judgement, on pairs of real songs"
_KEYS: Final = "Krumhansl & Kessler 1982 (profiles), Farbood 2016 (decay of the old key)"
_MODELS: Final = "mean rank in four published models of key distance"
_STEPS: Final = (
    "Bernardes et al. 2016 (notes), Krumhansl & Kessler 1982 (keys); "
    "steps calibrated on rounds of chords"
)
_ROUGH: Final = "Hutchinson & Knopoff 1978 (roughness); limits calibrated on synthetic chords"
_JND: Final = "Drake & Botte 1993 (just-noticeable difference); jolt set by judgement"
_RAMP: Final = "Drake & Botte 1993; listeners expect half of the next step of a ramp"
_ENTRY: Final = "Friberg & Sundberg 1995 (one beat in a row: 2.5 %), Rasch 1979 (27-49 ms)"
_MOVES: Final = "Dean, Bailes & Schubert 2011 (loudness moves); amounts set by judgement"
_SPEECH: Final = "Torcoli et al. 2019 (10 LU under speech), WCAG 2 technique G56 (20 dB)"
_LOUDER: Final = "practitioner reports (2 dB heard as louder and better)"
_VOICES: Final = "agreement of work on joins and mash-ups; seconds set by judgement"

# fmt: off
FIXED_WORDS: Final[dict[str, tuple[str, str, str]]] = {
    # measure        label                          unit       source of its threshold
    "key_distance":  ("change of key",               "",        _MODELS),
    "tonal_path":    ("tonal path",                  "",        _STEPS),
    "landing":       ("landing in the new key",      "",        _STEPS),
    "consonance":    ("consonance of overlaps",      "",        _ROUGH),
    "tuning":        ("in tune",                     "cents",   _JUDGED),
    "key_arrival":   ("key arrival",                 "s",       _KEYS),
    "old_key":       ("old key gone",                "",        _KEYS),
    "cadence":       ("cadence",                     "",        _PRACTICE),
    "runway":        ("singer's runway",             "s",       _KEYS),
    "tempo_change":  ("tempo change",                "JND",     _JND),
    "steady_beats":  ("steady beats before bar one", "JND",     _RAMP),
    "entry_timing":  ("enters on the beat",          "ms",      _ENTRY),
    "bar_line":      ("enters on the bar",           "beats",   _PRACTICE),
    "pulse":         ("pulse",                       "",        _ON_SONGS),
    "fill":          ("way into bar one",            "",        _ON_SONGS),
    "groove_clash":  ("two grooves",                 "",        _ON_SONGS),
    "hole":          ("hole",                        "s",       _PRACTICE),
    "cliff":         ("cliff",                       "LU",      _PRACTICE),
    "bar_one":       ("landing on bar one",          "LU",      _ON_SONGS),
    "drive":         ("drive",                       "LU",      _MOVES),
    "fullness":      ("fullness",                    "LU",      _ON_SONGS),
    "speech_level":  ("level under words",           "LU",      _SPEECH),
    "speech_room":   ("room for words",              "dB",      _JUDGED),
    "talk_length":   ("time for words",              "s",       _JUDGED),
    "level_match":   ("level match",                 "LU",      _LOUDER),
    "brightness":    ("brightness jump",             "octaves", _JUDGED),
    "low_end":       ("low end",                     "beats",   _PRACTICE),
    "voices":        ("voices",                      "s",       _VOICES),
    "phrase":        ("phrases",                     "bars",    _PRACTICE),
    "last_chord":    ("last chord",                  "",        _PRACTICE),
    "own_music":     ("own music",                   "",        _JUDGED),
    "true_peak":     ("true peak",                   "dBTP",    "EBU R 128"),
    "clipping":      ("clipping",                    "ms",      _PRACTICE),
    "click_leak":    ("click in the room",           "dB",      _PRACTICE),
}
"""What is said of a measure whatever it finds: its label, its unit, its source."""
# fmt: on


def measured(
    name: str,
    *,
    value: float,
    score: float,
    threshold: str,
    sentence: str,
    worst_beat: float | None = None,
) -> Measure:
    """A finding of a measure of the table, in its fixed words."""
    label, unit, source = FIXED_WORDS[name]
    return Measure(
        name=name,
        label=label,
        value=value,
        unit=unit,
        score=score,
        threshold=threshold,
        source=source,
        sentence=sentence,
        worst_beat=worst_beat,
    )


def not_measured(name: str, *, why: str) -> NotMeasured:
    """That a measure of the table could not be heard."""
    return NotMeasured(name=name, label=FIXED_WORDS[name][0], why=why)


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

    @property
    def words(self) -> str:
        """What is said of it on a card."""
        return f"A bad fault, options without one come first: {self.sentence}."


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
