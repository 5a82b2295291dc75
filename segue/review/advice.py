"""One line on what to try next time: the worst thing first.

References
----------
.. [LM18] P. Larrouy-Maestri, "'I know it when I hear it': On listeners' perception of
   mistuning", Music & Science 1, 2018.
.. [R79] R. A. Rasch, "Synchronization in performed ensemble music", Acustica 43, 1979.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.review.timing import CLEAR_AGREEMENT, JUST_NOTICED_MS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.review.report import BarTiming, Review, SectionLevel, SingerEntry

MISTUNED_CENTS: Final = 25.0
"""A note of a melody is heard as out of tune from about here [LM18]_."""
LATE_MS: Final = 50.0
"""A singer's entry is off from here (the upper end of what trios spread, 27 to 49 ms [R79]_)."""
DRIFT_MS_A_MINUTE: Final = 120.0  # a drift that is told: 0.2 % of the tempo; by judgement
# Bars scatter by more than what is just noticed; by judgement
UNEVEN_MS: Final = 3 * JUST_NOTICED_MS
ALONE_MS: Final = 5 * JUST_NOTICED_MS
"""A bar that is off against both its neighbours is told from here, however even the rest is."""
LEVEL_LU: Final = 3.0  # a side off by more is told; by judgement


def advice_of(review: Review) -> str:
    """What to try next time, as one sentence.

    Parameters
    ----------
    review : Review
        Its own `advice` is not read.
    """
    ways = (
        _of_faults(review),
        _of_break(review),
        _of_holes(review),
        _of_singer(review.singer),
        _of_timing(review),
        _of_levels(review.levels),
    )
    return next((way for way in ways if way), "In the plan's time and pitch: keep it like this.")


def _of_faults(review: Review) -> str:
    return review.faults[0].sentence if review.faults else ""


def _of_break(review: Review) -> str:
    if review.broke is None:
        return ""
    bar = review.broke.bar
    if review.broke.step_ms is None:
        return f"Bar {bar} is not what the plan has: play bars {max(bar - 1, 1)} and {bar} alone."
    way = "late" if review.broke.step_ms > 0 else "early"
    return (
        f"Bar {bar} comes {abs(review.broke.step_ms):.0f} ms {way} against the bar before: "
        f"loop bars {max(bar - 1, 1)} to {bar + 1}, with the click."
    )


def _of_holes(review: Review) -> str:
    if not review.holes:
        return ""
    hole = max(review.holes, key=lambda h: h.length_s)
    return f"Nothing sounds for {hole.length_s:.1f} s in bar {hole.bar}: agree who plays there."


def _of_singer(singer: SingerEntry | None) -> str:
    if singer is None or not singer.is_sure:
        return ""
    if abs(singer.late_ms) > LATE_MS:
        way = "late: breathe a beat earlier" if singer.late_ms > 0 else "early: wait for the beat"
        return f"The singer is {abs(singer.late_ms):.0f} ms {way} in bar {singer.bar}."
    if abs(singer.cents) > MISTUNED_CENTS:
        way = "sharp" if singer.cents > 0 else "flat"
        return (
            f"The first note is {abs(singer.cents):.0f} cents {way}: "
            "give the singer the note in the in-ears, and hum it before the entry."
        )
    return ""


def _of_timing(review: Review) -> str:
    drift, slip = review.clock.drift_ms_a_minute, review.clock.slip_ms_a_minute
    if review.clock.is_either and abs(slip) > DRIFT_MS_A_MINUTE:
        way = "slow" if slip > 0 else "fast"
        return (
            f"The take is {abs(slip):.0f} ms a minute {way}, by either the band or the recorder "
            "(too little to tell by its pitch): put the click in more ears."
        )
    if abs(drift) > DRIFT_MS_A_MINUTE:
        way = "slows down" if drift > 0 else "runs away"
        return f"The band {way} by {abs(drift):.0f} ms a minute: put the click in more ears."
    if review.spread_ms > UNEVEN_MS:
        return _of_uneven_bars(review.bars)
    return _of_bar_alone(review.bars)


def _of_bar_alone(bars: Sequence[BarTiming]) -> str:
    """The bar that hesitates or hurries most while the bars around it do not.

    One bar of twelve hardly moves the spread over all, and is heard nevertheless.
    """
    clear = [bar for bar in bars if bar.late_ms is not None and bar.agreement >= CLEAR_AGREEMENT]
    off_ms = [
        _alone_ms(*(near.late_ms or 0.0 for near in clear[place - 1 : place + 2]))
        for place in range(1, len(clear) - 1)
    ]
    worst = max(range(len(off_ms)), key=lambda place: abs(off_ms[place]), default=None)
    if worst is None or abs(off_ms[worst]) < ALONE_MS:
        return ""
    way = "late" if off_ms[worst] > 0 else "early"
    return (
        f"Bar {clear[worst + 1].number} is {abs(off_ms[worst]):.0f} ms {way} against the bars "
        f"around it: play from bar {clear[worst].number} with the click, listening to the drums."
    )


def _alone_ms(before: float, here: float, after: float) -> float:
    """How far a bar is off to one side of both its neighbours; 0 where it is between them."""
    steps = here - before, here - after
    return min(steps, key=abs) if steps[0] * steps[1] > 0 else 0.0


def _of_uneven_bars(bars: Sequence[BarTiming]) -> str:
    """The bars around the worst one that are off to its side, to be looped with one before."""
    known = [bar for bar in bars if bar.late_ms is not None]
    late_ms = [bar.late_ms or 0.0 for bar in known]
    worst = max(range(len(known)), key=lambda place: abs(late_ms[place]))
    side = 1 if late_ms[worst] > 0 else -1
    is_off = [side * ms > UNEVEN_MS for ms in late_ms]
    first = next((n + 1 for n in range(worst, -1, -1) if not is_off[n]), 0)
    last = next((n - 1 for n in range(worst, len(known)) if not is_off[n]), len(known) - 1)
    names = known[first].number, known[last].number
    way = "late" if side > 0 else "early"
    from_bar = known[max(first - 1, 0)].number
    if names[0] == names[1]:
        where = f"Bar {names[0]} is {abs(late_ms[worst]):.0f} ms {way}"
    else:
        where = (
            f"Bars {names[0]} to {names[1]} are {way}, most in bar {known[worst].number} "
            f"({abs(late_ms[worst]):.0f} ms)"
        )
    return f"{where}: play from bar {from_bar} with the click, listening to the drums."


def _of_levels(levels: tuple[SectionLevel, ...]) -> str:
    if not levels:
        return ""
    worst = max(levels, key=lambda level: abs(level.against_plan_lu))
    if abs(worst.against_plan_lu) <= LEVEL_LU:
        return ""
    way = "louder" if worst.against_plan_lu > 0 else "quieter"
    names = {"outgoing": "first song", "interlude": "interlude", "incoming": "second song"}
    return (
        f"The {names[worst.section]} is {abs(worst.against_plan_lu):.0f} LU {way} than planned "
        "against the rest: level it."
    )
