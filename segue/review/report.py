"""What a review tells, as facts.

Late is positive and early negative; sharp is positive and flat negative. Bars are those of
the option that was played, counted from 1; times are seconds of the recording.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from segue.plan.plan import Section  # noqa: TC001 - read from JSON by these types
from segue.review.faults import Fault  # noqa: TC001 - the same
from segue.review.moves import BarTiming, Break, Clock, TimeMove  # noqa: TC001 - the same

SCHEMA_VERSION: Literal[2] = 2  # of the file that a review is kept in
SURE_CLEARNESS: Final = 0.5  # below it the singer's numbers are called unsure; by judgement
SINGER_UNTOLD: Final = "How the singer came in could not be told."
"""A note: then not all of the take is in the plan's time and pitch as far as is known."""
_AT_BAR_S: Final = 0.03  # a note so little before a bar line is on it; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class SingerEntry:
    """How the singer came in.

    Parameters
    ----------
    late_ms : float
        Against the beat as the band played it.
    cents : float
        Of the first note against the planned one, in the band's own tuning.
    phrase_cents : float or None
        The same over the first phrase, the middle value; None where it is not known what
        is sung.
    phrase_spread_cents : float or None
        How far the notes of the phrase lie apart, half of them within this.
    clearness : float
        0 to 1; below `SURE_CLEARNESS` the numbers are unsure.
    """

    bar: int
    time_s: float
    late_ms: float
    cents: float
    phrase_cents: float | None
    phrase_spread_cents: float | None
    clearness: float

    @property
    def is_sure(self) -> bool:
        """Whether the voice stood out enough to believe the numbers."""
        return self.clearness >= SURE_CLEARNESS


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingSinger:
    """No singer where the plan has one.

    Parameters
    ----------
    bar : int
        Where the entry is planned.
    presence : float
        About 0 for a band alone, about 1 for the singer of the plan.
    """

    bar: int
    presence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """Nothing where the plan has sound."""

    bar: int
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """One part missing while the others go on.

    Parameters
    ----------
    bar, last_bar : int
        From the one to the other.
    part : str
        Who, as 'drums', where the run has stems; else which range of the sound is missing.
    """

    bar: int
    last_bar: int
    part: str


FindingKind = Literal[
    "another option", "recording", "lost bar", "step", "gap", "no singer", "singer late",
    "singer pitch", "tempo", "late once", "drift", "uneven", "rest", "level",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is not as planned.

    Parameters
    ----------
    bar, last_bar : int or None
        From the one to the other; None where it is about the whole take.
    size : float
        In `unit`; how much.
    """

    kind: FindingKind
    bar: int | None
    last_bar: int | None
    size: float
    unit: str
    sentence: str
    practise: str

    @property
    def words(self) -> str:
        """Both as one sentence, without its full stop where there is nothing to practise."""
        return f"{self.sentence}: {self.practise}." if self.practise else f"{self.sentence}."


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionLevel:
    """Level of a section against the plan, both against their whole.

    Parameters
    ----------
    against_plan_lu : float
        Positive is louder than planned.
    """

    section: Section
    against_plan_lu: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """One try against its plan.

    Parameters
    ----------
    candidate : int
        The option that was played, as the sound tells.
    offset_s : float
        Time in the recording of the option's first frame, as the first beats have it;
        negative where the recording starts later.
    match : float
        How well the recording agrees with the render, -1 to 1.
    first_bar, last_bar : int
        Of those that are whole in the recording.
    untold_bars : tuple of int
        Of these, the ones whose time could not be told.
    spread_ms : float
        Root mean square of the bars' lateness.
    singer : SingerEntry or None
        None where the plan has no singer, or the entry does not stand out.
    missing_singer : MissingSinger or None
        None where the singer is heard, or nothing tells.
    gain_ratio : float
        Of a recorder that rides the level, how many decibels of the band are one of the
        recording; 1 where none does.
    levels : tuple of SectionLevel
        Empty where the recorder rides the level.
    findings : tuple of Finding
        The worst first.
    notes : tuple of str
        Sentences on what could not be told, and why.
    planned_s, played_s : float
        Running time from the first bar line to the last that both have, by a true clock.
    """

    recipe: str
    candidate: int
    offset_s: float
    match: float
    clock: Clock
    bars: tuple[BarTiming, ...]
    first_bar: int
    last_bar: int
    untold_bars: tuple[int, ...]
    spread_ms: float
    moves: tuple[TimeMove, ...]
    broke: Break | None
    singer: SingerEntry | None
    missing_singer: MissingSinger | None
    holes: tuple[Hole, ...]
    rests: tuple[Rest, ...]
    gain_ratio: float
    levels: tuple[SectionLevel, ...]
    faults: tuple[Fault, ...]
    planned_s: float
    played_s: float
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]

    @property
    def advice(self) -> str:
        """What to try next time: the worst thing first."""
        if self.findings:
            return self.findings[0].words
        if self.untold_bars or SINGER_UNTOLD in self.notes:
            return "In the plan's time and pitch where it could be told."
        return "In the plan's time and pitch: keep it like this."

    @property
    def length_s(self) -> float:
        """Seconds of the recording that the try takes."""
        rate = self.clock.recorder_ratio
        last = self.bars[-1]
        return last.time_s - self.offset_s + rate * (last.plan_s - self.bars[-2].plan_s)

    def take_s_at(self, plan_s: float) -> float:
        """Time in the recording of a time of the candidate, as the band played it."""
        before = max((b for b in self.bars if b.plan_s <= plan_s), key=_plan_s, default=None)
        after = min((b for b in self.bars if b.plan_s > plan_s), key=_plan_s, default=None)
        near = before or after or self.bars[0]
        rate = self.clock.recorder_ratio
        if before is not None and after is not None:
            rate = (after.time_s - before.time_s) / (after.plan_s - before.plan_s)
        return near.time_s + rate * (plan_s - near.plan_s)

    def bar_at(self, plan_s: float) -> int:
        """Number of the bar that a time of the candidate is in."""
        return max((b.number for b in self.bars if b.plan_s <= plan_s + _AT_BAR_S), default=1)


def _plan_s(bar: BarTiming) -> float:
    return bar.plan_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """A recording against its plan: every try in it.

    Parameters
    ----------
    take : str
        File name of the recording.
    recorded_on, recorded_at : str
        Its day, as the file has it, year first, and the time of day; a review that was made
        before this was told has no time.
    asked : int
        The option that the band chose, or was asked for.
    tries : tuple of Review
        In the order of the recording; at least one.
    best : int
        Number of the best of them, from 1.
    """

    schema_version: Literal[2] = SCHEMA_VERSION
    segue_version: str
    take: str
    recorded_on: str
    from_title: str
    to_title: str
    asked: int
    tries: tuple[Review, ...]
    best: int
    recorded_at: str = ""

    @property
    def best_try(self) -> Review:
        """The best of the tries."""
        return self.tries[self.best - 1]
