"""What a review tells, as facts.

Late is positive and early negative; sharp is positive and flat negative. Bars are those of
the candidate, counted from 1; times are seconds of the recording.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from segue.plan.plan import Section  # noqa: TC001 - read from JSON by these types
from segue.review.faults import Fault  # noqa: TC001 - the same

SCHEMA_VERSION: Literal[1] = 1  # of the file that a review is kept in
SURE_CLEARNESS: Final = 0.5  # below it the singer's numbers are called unsure; by judgement
SAME_CENTS: Final = 3.0
"""Speed and pitch that are nearer than this moved together: pitch is known no better."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarTiming:
    """How a bar was played.

    Parameters
    ----------
    section : {'outgoing', 'interlude', 'incoming'}
    plan_s, time_s : float
        Where it starts in the candidate, and in the recording.
    late_ms : float or None
        Against the plan's grid, laid where it fits the whole take best; None where nothing
        is struck or the bar is not in the recording.
    agreement : float
        0 to 1: how well its onsets agree with the plan's.
    is_struck : bool
        Whether the plan has onsets there that tell the time.
    """

    number: int
    section: Section
    plan_s: float
    time_s: float
    late_ms: float | None
    agreement: float
    is_struck: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """Where the band fell apart or jumped off the grid.

    Parameters
    ----------
    step_ms : float or None
        Jump against the bar before; None where the bar's onsets are not the plan's at all.
    """

    bar: int
    step_ms: float | None


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
class Hole:
    """Nothing where the plan has sound."""

    bar: int
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionLevel:
    """Level of a section against the plan, both against their whole.

    Parameters
    ----------
    section : {'outgoing', 'interlude', 'incoming'}
    against_plan_lu : float
        Positive is louder than planned.
    """

    section: Section
    against_plan_lu: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Speed, and whose it is.

    Parameters
    ----------
    speed_ratio : float
        Seconds of the recording to one of the plan.
    tuning_cents : float
        How far the recording is above the render.
    recorder_ratio : float
        The part of the speed that is the recorder's: it moves the pitch by the same ratio.
        1 where the pitch did not move along.
    drift_ms_a_minute : float
        How fast the band falls behind the plan, the recorder's part taken out.
    """

    speed_ratio: float
    tuning_cents: float
    recorder_ratio: float
    drift_ms_a_minute: float

    @property
    def slip_ms_a_minute(self) -> float:
        """How fast the recording falls behind the plan, whoever is the cause."""
        return 60_000 * (self.speed_ratio - 1)

    @property
    def is_either(self) -> bool:
        """Whether the pitch fits a band that drifts as well as a recorder that runs off."""
        expected_cents = -1200 * math.log2(self.speed_ratio)
        apart_cents = max(abs(self.tuning_cents), abs(self.tuning_cents - expected_cents))
        return apart_cents < SAME_CENTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A take against its plan.

    Parameters
    ----------
    take : str
        File name of the recording.
    offset_s : float
        Time in the recording of the candidate's first frame, as the first beats have it;
        negative where the recording starts later.
    match : float
        How well the recording agrees with the render, -1 to 1.
    spread_ms : float
        Root mean square of the bars' lateness.
    singer : SingerEntry or None
        None where the plan has no singer, or the entry does not stand out.
    planned_s, played_s : float
        Running time from the first bar line to the last that both have, by a true clock.
    advice : str
        What to try next time.
    """

    schema_version: Literal[1] = SCHEMA_VERSION
    segue_version: str
    take: str
    from_title: str
    to_title: str
    recipe: str
    candidate: int
    offset_s: float
    match: float
    clock: Clock
    bars: tuple[BarTiming, ...]
    spread_ms: float
    broke: Break | None
    singer: SingerEntry | None
    holes: tuple[Hole, ...]
    levels: tuple[SectionLevel, ...]
    faults: tuple[Fault, ...]
    planned_s: float
    played_s: float
    advice: str

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
        return max((b.number for b in self.bars if b.plan_s <= plan_s), default=1)


def _plan_s(bar: BarTiming) -> float:
    return bar.plan_s
