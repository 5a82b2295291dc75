"""What was measured on a candidate, and what it means."""

from __future__ import annotations

from dataclasses import dataclass


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
class CurveSample:
    """A measured value at a time of the candidate, for pictures."""

    time_s: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scorecard:
    """All measures of a candidate and their weighted mean.

    Parameters
    ----------
    measures : tuple of Measure
    overall : float
        Weighted mean of the scores, 0..1.
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
