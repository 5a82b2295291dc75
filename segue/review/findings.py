"""What is not as planned, the worst first, each with what to practise.

References
----------
.. [LM18] P. Larrouy-Maestri, "'I know it when I hear it': On listeners' perception of
   mistuning", Music & Science 1, 2018.
.. [R79] R. A. Rasch, "Synchronization in performed ensemble music", Acustica 43, 1979.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.plan.bridge_words import SECTION_WORDS
from segue.review.report import Finding, FindingKind, Review, SingerEntry
from segue.review.timing import CLEAR_AGREEMENT, JUST_NOTICED_MS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from segue.review.moves import BarTiming

MISTUNED_CENTS: Final = 25.0
"""A note of a melody is heard as out of tune from about here [LM18]_."""
LATE_MS: Final = 50.0
"""A singer's entry is off from here (the upper end of what trios spread, 27 to 49 ms [R79]_)."""
DRIFT_MS_A_MINUTE: Final = 120.0  # a drift that is told: 0.2 % of the tempo; by judgement
# Bars scatter by more than what is just noticed; by judgement
UNEVEN_MS: Final = 3 * JUST_NOTICED_MS
LEVEL_LU: Final = 3.0  # a side off by more is told; by judgement
_PLAYERS: Final = {
    "drums": "The drums rest",
    "bass": "The bass rests",
    "keys": "The keys rest",
    "guitar": "The guitar rests",
    "synth": "The synth rests",
    "other": "One player rests",
}
"""By the roles of stems."""
_WITH_CLICK: Final = "with the click, listening to the drums"


def findings_of(
    review: Review,
    *,
    asked: int,
    labels: Mapping[int, str] | None = None,
    tempo_bpm_at: Mapping[int, float] | None = None,
) -> tuple[Finding, ...]:
    """All that is not as planned, the worst first.

    Parameters
    ----------
    review : Review
        Its own `findings` are not read.
    asked : int
        The option that ought to have been played.
    labels : mapping of int to str, optional
        What options are called, where that is not their number: '2b'.
    """
    return (
        *_of_option(review, asked, labels or {}),
        *_of_faults(review),
        *_of_break(review),
        *_of_gaps(review),
        *_of_singer(review),
        *_of_tempo(review, tempo_bpm_at or {}),
        *_of_timing(review),
        *_of_rests(review),
        *_of_levels(review),
    )


def _found(
    kind: FindingKind,
    sentence: str,
    practise: str = "",
    *,
    bars: tuple[int | None, int | None] = (None, None),
    size: float = 0.0,
    unit: str = "",
) -> Finding:
    first, last = bars
    return Finding(
        kind=kind,
        bar=first,
        last_bar=last,
        size=float(size),
        unit=unit,
        sentence=sentence,
        practise=practise,
    )


def _of_option(review: Review, asked: int, labels: Mapping[int, str]) -> Iterator[Finding]:
    if review.candidate != asked:
        played, chosen = (labels.get(rank, str(rank)) for rank in (review.candidate, asked))
        yield _found(
            "another option",
            f"This is option {played}, you chose {chosen}",
            f"play option {chosen}, or choose {played} if it is better",
            size=review.candidate,
        )


def _of_faults(review: Review) -> Iterator[Finding]:
    for fault in review.faults:
        sentence, _, mend = fault.sentence.rstrip(".").partition(": ")
        yield _found("recording", sentence, mend, size=fault.value, unit=fault.unit)


def _of_break(review: Review) -> Iterator[Finding]:
    if review.broke is not None and review.broke.step_ms is None:
        bar = review.broke.bar
        before = max(bar - 1, 1)
        yield _found(
            "lost bar",
            f"Bar {bar} is not what the plan has",
            f"play bars {before} and {bar} alone",
            bars=(bar, bar),
        )
    for move in review.moves:
        if move.kind == "step":
            way = "late" if move.size_ms > 0 else "early"
            yield _found(
                "step",
                f"Bar {move.bar} comes {abs(move.size_ms):.0f} ms {way} against the bar before",
                f"loop bars {max(move.bar - 1, 1)} to {move.bar + 1}, with the click",
                bars=(move.bar, None),
                size=move.size_ms,
                unit="ms",
            )


def _of_gaps(review: Review) -> Iterator[Finding]:
    for hole in sorted(review.holes, key=lambda h: -h.length_s):
        length = (
            f"{hole.length_s:.1f} s" if hole.length_s >= 1 else f"{1000 * hole.length_s:.0f} ms"
        )
        yield _found(
            "gap",
            f"Nothing sounds for {length} in bar {hole.bar}",
            "agree who plays there, or look for a loose plug",
            bars=(hole.bar, hole.bar),
            size=1000 * hole.length_s,
            unit="ms",
        )


def _of_singer(review: Review) -> Iterator[Finding]:
    missing, singer = review.missing_singer, review.singer
    if missing is not None:
        yield _found(
            "no singer",
            f"No singer heard from bar {missing.bar} on",
            "give the singer the cue in the in-ears, or look at the microphone",
            bars=(missing.bar, None),
        )
    elif singer is not None and singer.is_sure:
        yield from _of_entry(singer)


def _of_entry(singer: SingerEntry) -> Iterator[Finding]:
    if abs(singer.late_ms) > LATE_MS:
        is_late = singer.late_ms > 0
        yield _found(
            "singer late",
            f"The singer is {abs(singer.late_ms):.0f} ms {'late' if is_late else 'early'} "
            f"in bar {singer.bar}",
            "breathe a beat earlier" if is_late else "wait for the beat",
            bars=(singer.bar, singer.bar),
            size=singer.late_ms,
            unit="ms",
        )
    if abs(singer.cents) > MISTUNED_CENTS:
        way = "sharp" if singer.cents > 0 else "flat"
        yield _found(
            "singer pitch",
            f"The first note is {abs(singer.cents):.0f} cents {way}",
            "give the singer the note in the in-ears, and hum it before the entry",
            bars=(singer.bar, singer.bar),
            size=singer.cents,
            unit="cents",
        )


def _of_tempo(review: Review, tempo_bpm_at: Mapping[int, float]) -> Iterator[Finding]:
    for move in review.moves:
        if move.kind != "tempo":
            continue
        bpm = tempo_bpm_at.get(move.bar)
        percent = 100 * (1 - 1 / move.ratio)
        way = "slower" if percent > 0 else "faster"
        told = f"{abs(percent):.1f} % {way}"
        size = -percent
        if bpm is not None:
            size = bpm / move.ratio
            told = f"at {size:.1f}, not {bpm:.3g} BPM"
        yield _found(
            "tempo",
            f"From bar {move.bar} on {told}",
            f"count bar {move.bar} in with the click",
            bars=(move.bar, None),
            size=size,
            unit="BPM" if bpm is not None else "%",
        )


def _of_timing(review: Review) -> Iterator[Finding]:
    once = [move for move in review.moves if move.kind == "once"]
    for move in sorted(once, key=lambda m: -abs(m.size_ms)):
        way = "late" if move.size_ms > 0 else "early"
        yield _found(
            "late once",
            f"Bar {move.bar} is {abs(move.size_ms):.0f} ms {way} against the bars around it",
            f"play from bar {max(move.bar - 1, 1)} {_WITH_CLICK}",
            bars=(move.bar, move.bar),
            size=move.size_ms,
            unit="ms",
        )
    yield from _of_drift(review)
    if review.spread_ms > UNEVEN_MS and not review.moves:
        yield from _of_uneven_bars(review.bars)


def _of_drift(review: Review) -> Iterator[Finding]:
    drift, slip = review.clock.drift_ms_a_minute, review.clock.slip_ms_a_minute
    practise = "put the click in more ears"
    if review.clock.is_either and abs(slip) > DRIFT_MS_A_MINUTE:
        way = "slow" if slip > 0 else "fast"
        yield _found(
            "drift",
            f"The take is {abs(slip):.0f} ms a minute {way}, by either the band or the recorder "
            "(too little to tell by its pitch)",
            practise,
            size=slip,
            unit="ms a minute",
        )
    elif abs(drift) > DRIFT_MS_A_MINUTE:
        way = "slows down" if drift > 0 else "runs away"
        yield _found(
            "drift",
            f"The band {way} by {abs(drift):.0f} ms a minute",
            practise,
            size=drift,
            unit="ms a minute",
        )


def _of_uneven_bars(bars: Sequence[BarTiming]) -> Iterator[Finding]:
    """The bars around the worst one that are off to its side, to be looped with one before."""
    known = [
        bar for bar in bars if bar.late_ms is not None and bar.agreement >= CLEAR_AGREEMENT
    ] or [bar for bar in bars if bar.late_ms is not None]
    late_ms = [bar.late_ms or 0.0 for bar in known]
    worst = max(range(len(known)), key=lambda place: abs(late_ms[place]))
    if abs(late_ms[worst]) <= UNEVEN_MS:
        return
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
    yield _found(
        "uneven",
        where,
        f"play from bar {from_bar} {_WITH_CLICK}",
        bars=names,
        size=late_ms[worst],
        unit="ms",
    )


def _of_rests(review: Review) -> Iterator[Finding]:
    for rest in review.rests:
        is_one = rest.bar == rest.last_bar
        where = f"bar {rest.bar}" if is_one else f"bars {rest.bar} to {rest.last_bar}"
        who = _PLAYERS.get(rest.part)
        yield _found(
            "rest",
            f"{who} in {where}, the others go on"
            if who is not None
            else f"One player rests in {where}: the {rest.part} are missing, the others go on",
            "agree who plays there",
            bars=(rest.bar, rest.last_bar),
            size=rest.last_bar - rest.bar + 1,
            unit="bars",
        )


def _of_levels(review: Review) -> Iterator[Finding]:
    for level in sorted(review.levels, key=lambda level: -abs(level.against_plan_lu)):
        if abs(level.against_plan_lu) > LEVEL_LU:
            way = "louder" if level.against_plan_lu > 0 else "quieter"
            yield _found(
                "level",
                f"The {SECTION_WORDS[level.section]} is {abs(level.against_plan_lu):.0f} LU {way} "
                "than planned against the rest",
                "level it",
                size=level.against_plan_lu,
                unit="LU",
            )
