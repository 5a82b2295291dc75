"""Tempo curves: the one place where beats become seconds and back.

A `TempoCurve` is a chain of spans. Within a span the tempo holds, moves
linearly in beats, or moves by a constant ratio a beat; between spans it may
step. Integrating 60 / tempo over beats gives, for a span of B beats from b0 to
b1 BPM, T = 60 B ln(b1/b0) / (b1 - b0) when linear in beats and
T = 60 B (1/b0 - 1/b1) / ln(b1/b0) when geometric; both inverses are closed too.
Tempi, shares and lengths of time are told as people read them, and lengths read as they write them.

References
----------
.. [SI] BIPM, The International System of Units (SI Brochure), 9th edition, 2019, 5.4.7: a space
   stands between the number and the sign %.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Final, Literal, assert_never

if TYPE_CHECKING:
    from collections.abc import Iterable


TempoLaw = Literal["hold", "linear", "geometric"]

SECONDS_A_MINUTE: Final = 60.0  # by which beats a minute become seconds a beat
_NEARLY_EQUAL: Final = 1e-9  # tempos this near are one; below it the series is used, for rounding


def bpm_number(bpm: float) -> str:
    """A tempo as people count it: whole, or with one decimal where it is not.

    Examples
    --------
    >>> bpm_number(95.97), bpm_number(124.24), bpm_number(120.0)
    ('96', '124.2', '120')
    """
    return f"{round(bpm, 1):g}"


def percent(share: float) -> str:
    """A share in whole percent, with a space before the sign as [SI]_ has it.

    Examples
    --------
    >>> percent(0.3)
    '30 %'
    """
    return f"{100.0 * share:.0f} %"


_CLOCK: Final = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d(?:\.\d+)?)")
_UNITS: Final = re.compile(
    r"(?=\d)(?:(\d+)\s*h)?\s*(?:(\d+)\s*m(?:in)?)?\s*(?:(\d+(?:\.\d+)?)\s*s(?:ec)?)?", re.IGNORECASE
)


def length_s(text: str) -> float | None:
    """Seconds of a length of time, or None where the text is none.

    A bare number has no unit and is refused: '45' may be minutes or seconds.

    Examples
    --------
    >>> [length_s(text) for text in ("3:45", "45m", "25s", "1m10s", "1:10:00", "45")]
    [225.0, 2700.0, 25.0, 70.0, 4200.0, None]
    """
    for pattern in (_CLOCK, _UNITS):
        match = pattern.fullmatch(text.strip())
        if match is not None:
            hours, minutes, seconds = (float(part or 0) for part in match.groups())
            return 3600 * hours + 60 * minutes + seconds
    return None


def clock(seconds: float) -> str:
    """Minutes and seconds, with hours where there are any; what lies before 0 is 0:00.

    Examples
    --------
    >>> clock(225.2), clock(4200)
    ('3:45', '1:10:00')
    """
    whole = max(round(seconds), 0)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


_OCTAVE_SLACK: Final = 0.02  # share by which double and half tempo may miss; by judgement


def tempo_step_words(ratio: float) -> str:
    """How a tempo lies to the one before it.

    Parameters
    ----------
    ratio : float
        New tempo over old. Positive.

    Examples
    --------
    >>> [tempo_step_words(ratio) for ratio in (1.001, 1.08, 0.77, 2.01, 0.5)]
    ['same tempo', '8 % faster', '23 % slower', 'double tempo', 'half tempo']
    """
    for times, words in ((2.0, "double tempo"), (0.5, "half tempo")):
        if abs(math.log(ratio / times)) <= math.log1p(_OCTAVE_SLACK):
            return words
    told = percent(abs(ratio - 1.0))
    way = "faster" if ratio > 1.0 else "slower"
    return "same tempo" if told == percent(0.0) else f"{told} {way}"


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoSpan:
    """A stretch of beats under one law of tempo.

    Parameters
    ----------
    n_beats : float
        Length. Positive.
    start_bpm, end_bpm : float
        Tempo at the two ends. Positive. Equal when the law is 'hold'.
    law : {'hold', 'linear', 'geometric'}
        How the tempo moves: not at all, linearly in beats, or by a constant
        ratio a beat.

    Raises
    ------
    ValueError
        If a length or tempo is not positive, or a 'hold' changes tempo.
    """

    n_beats: float
    start_bpm: float
    end_bpm: float
    law: TempoLaw = "hold"

    def __post_init__(self) -> None:
        if not (self.n_beats > 0 and self.start_bpm > 0 and self.end_bpm > 0):
            raise ValueError(f"span needs positive beats and tempi, got {self}")
        if self.law == "hold" and abs(self.start_bpm - self.end_bpm) > _NEARLY_EQUAL:
            raise ValueError(f"a span that holds cannot go from {self.start_bpm} to {self.end_bpm}")

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.seconds_at(self.n_beats)

    def bpm_at(self, beat: float) -> float:
        """Tempo at a beat counted from the start of the span."""
        share = beat / self.n_beats
        match self.law:
            case "hold":
                return self.start_bpm
            case "linear":
                return self.start_bpm + (self.end_bpm - self.start_bpm) * share
            case "geometric":
                return self.start_bpm * math.pow(self.end_bpm / self.start_bpm, share)
            case _:
                assert_never(self.law)

    def seconds_at(self, beat: float) -> float:
        """Seconds from the start of the span to a beat within it."""
        flat = SECONDS_A_MINUTE * beat / self.start_bpm
        match self.law:
            case "hold":
                return flat
            case "linear":
                x = beat * (self.end_bpm - self.start_bpm) / (self.n_beats * self.start_bpm)
                return flat * _log1p_over(x)
            case "geometric":
                x = -beat * math.log(self.end_bpm / self.start_bpm) / self.n_beats
                return flat * _expm1_over(x)
            case _:
                assert_never(self.law)

    def beat_at(self, seconds: float) -> float:
        """Beat within the span at a time from its start; inverse of `seconds_at`."""
        flat = seconds * self.start_bpm / SECONDS_A_MINUTE
        match self.law:
            case "hold":
                return flat
            case "linear":
                x = flat * (self.end_bpm - self.start_bpm) / (self.n_beats * self.start_bpm)
                return flat * _expm1_over(x)
            case "geometric":
                x = -flat * math.log(self.end_bpm / self.start_bpm) / self.n_beats
                return flat * _log1p_over(x)
            case _:
                assert_never(self.law)


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoCurve:
    """Tempo over the beats of a plan, from beat 0 on.

    Beats before the first span or after the last continue at its outer tempo.

    Parameters
    ----------
    spans : tuple of TempoSpan
        At least one.

    Examples
    --------
    >>> ramp = TempoCurve(spans=(TempoSpan(n_beats=16, start_bpm=120, end_bpm=140, law="linear"),))
    >>> round(ramp.seconds_at(16), 6)
    7.399233
    >>> round(ramp.beat_at(ramp.seconds_at(5.5)), 9)
    5.5
    """

    spans: tuple[TempoSpan, ...]

    def __post_init__(self) -> None:
        if not self.spans:
            raise ValueError("a tempo curve needs at least one span")

    @property
    def n_beats(self) -> float:
        """Total length in beats."""
        return sum(span.n_beats for span in self.spans)

    @property
    def duration_s(self) -> float:
        """Total length in seconds."""
        return sum(span.duration_s for span in self.spans)

    def bpm_at(self, beat: float) -> float:
        """Tempo at a beat; where spans step, the tempo of the later one."""
        index, start_beat, _ = self._span_at_beat(beat)
        span = self.spans[index]
        return span.bpm_at(min(max(beat - start_beat, 0.0), span.n_beats))

    def seconds_at(self, beat: float) -> float:
        """Seconds from beat 0 to a beat; negative before beat 0."""
        index, start_beat, start_s = self._span_at_beat(beat)
        span, inside = self.spans[index], beat - start_beat
        if inside < 0:
            return inside * SECONDS_A_MINUTE / span.start_bpm
        if inside > span.n_beats:
            beyond = (inside - span.n_beats) * SECONDS_A_MINUTE / span.end_bpm
            return start_s + span.duration_s + beyond
        return start_s + span.seconds_at(inside)

    def beat_at(self, seconds: float) -> float:
        """Beat at a time from beat 0; inverse of `seconds_at`."""
        return self.beats_at((seconds,))[0]

    def beats_at(self, times_s: Iterable[float]) -> list[float]:
        """Beats at many times from beat 0, in their order; far quicker than one by one."""
        durations_s = [span.duration_s for span in self.spans]
        starts_s = self._starts(durations_s)
        start_beats = self._starts([span.n_beats for span in self.spans])
        beats = []
        for time_s in times_s:
            index = max(bisect_right(starts_s, time_s) - 1, 0)
            span, inside = self.spans[index], time_s - starts_s[index]
            if inside < 0:
                beat = inside * span.start_bpm / SECONDS_A_MINUTE
            elif inside > durations_s[index]:
                beyond = (inside - durations_s[index]) * span.end_bpm / SECONDS_A_MINUTE
                beat = start_beats[index] + span.n_beats + beyond
            else:
                beat = start_beats[index] + span.beat_at(inside)
            beats.append(beat)
        return beats

    def _span_at_beat(self, beat: float) -> tuple[int, float, float]:
        starts = self._starts([span.n_beats for span in self.spans])
        index = max(bisect_right(starts, beat) - 1, 0)
        start_s = sum(span.duration_s for span in self.spans[:index])
        return index, starts[index], start_s

    @staticmethod
    def _starts(lengths: list[float]) -> list[float]:
        return [0.0, *accumulate(lengths[:-1])]


def _log1p_over(x: float) -> float:
    """Value of ln(1 + x) / x, continuous at 0."""
    return math.log1p(x) / x if abs(x) > _NEARLY_EQUAL else 1.0 - x / 2.0


def _expm1_over(x: float) -> float:
    """Value of (e^x - 1) / x, continuous at 0."""
    return math.expm1(x) / x if abs(x) > _NEARLY_EQUAL else 1.0 + x / 2.0
