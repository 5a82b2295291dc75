"""One try against its plan: what its beats tell, then the singer, then the rest of the sound.

What could not be told is said too, and why: silence on it would be false comfort.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.tuning import tuning_of
from segue.audio.clip import Clip
from segue.review.align import aligned, bar_shift
from segue.review.faults import faults_of
from segue.review.find import FoundPlace, find_parts, find_transition
from segue.review.findings import findings_of
from segue.review.levels_and_gaps import gain_ratio, gaps_of, section_levels, stopped_s
from segue.review.partials import ABSENT_BELOW, phrase_late_s, presence
from segue.review.parts import PlannedParts, part_rests, parts_heard
from segue.review.report import SINGER_UNTOLD, Hole, MissingSinger, Rest, Review
from segue.review.room_and_noise import ThroughRoom, band_levels
from segue.review.singer import singer_entry
from segue.review.timing import Timing, break_of, timing_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.plan.plan import Plan
    from segue.review.listening import Listening
    from segue.review.moves import BarTiming
    from segue.review.voice import PlannedVoice, SungPart
    from segue.runfolder import CandidateRecord

_MS_A_SECOND: Final = 1000.0  # milliseconds in a second
_SAME_S: Final = 0.05  # a bar that starts this little before the recording is whole; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeardOption:
    """An option as it was rendered, and what is listened for in it."""

    record: CandidateRecord
    clip: Clip
    heard: Listening
    tuning_cents: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownOption:
    """The option that is heard, and what the plan's songs tell of it: the same for every try."""

    option: HeardOption
    voice: PlannedVoice | None
    sung: SungPart | None
    parts: PlannedParts


def review_of_try(
    known: KnownOption,
    take: Clip,
    heard: Listening,
    span_s: tuple[float, float],
    asked: CandidateRecord,
) -> Review:
    """One try, in seconds of the whole recording.

    Parameters
    ----------
    take : Clip
        The whole recording; `heard` is what is listened for in it.
    asked : CandidateRecord
        The option that ought to have been played.
    """
    option, record = known.option, known.option.record
    reference = option.heard
    found = find_transition(reference, heard.part(*span_s))
    places = find_parts(reference, heard.part(*span_s), found, record.entry_s)
    places = tuple(replace(p, offset_s=p.offset_s + span_s[0]) for p in places)
    plan = record.plan
    beats_s = [plan.seconds_at(beat) for beat in range(int(plan.end_beat) + 1)]
    alignment = aligned(reference, heard, places, beats_s)
    part = _part(take, places, plan)
    timing = timing_of(
        alignment,
        plan,
        tuning_of(part) - option.tuning_cents,
        lambda bar_s: bar_shift(reference, heard, bar_s, alignment),
    )
    review = _told(record, timing, found, take)
    review = _with_singer(review, known, take, timing)
    return _with_sound(review, known, take, part, asked)


def _with_singer(review: Review, known: KnownOption, take: Clip, timing: Timing) -> Review:
    """The review with how the singer came in, or that there is none."""
    record, sung, cents = known.option.record, known.sung, timing.clock.tuning_cents
    singer = singer_entry(
        known.voice,
        known.option.clip,
        take,
        review,
        timing.take_s_at,
        lambda: None if sung is None else phrase_late_s(sung, take, timing.take_s_at, cents),
    )
    missing = None
    if sung is not None and record.singer_s is not None:
        heard = presence(sung, take, timing.take_s_at, cents)
        if heard is not None and heard < ABSENT_BELOW:
            starts = [bar.number for bar in timing.bars if bar.plan_s <= record.singer_s + _SAME_S]
            missing = MissingSinger(bar=max(starts, default=1), presence=heard)
    return replace(review, singer=singer, missing_singer=missing)


def _part(take: Clip, places: Sequence[FoundPlace], plan: Plan) -> Clip:
    """The transition alone."""
    first = max(round(places[0].offset_s * take.rate_hz), 0)
    last = round((places[-1].offset_s + places[-1].speed * plan.duration_s) * take.rate_hz)
    return Clip(samples=take.samples[first:last], rate_hz=take.rate_hz)


def _told(record: CandidateRecord, timing: Timing, found: FoundPlace, take: Clip) -> Review:
    """What the beats tell."""
    whole = _whole_bars(timing, take)
    known = [bar for bar in timing.bars if bar.late_ms is not None]
    ends = (known[0], known[-1]) if known else (timing.bars[0], timing.bars[-1])
    return Review(
        recipe=record.plan.recipe,
        candidate=record.rank,
        offset_s=timing.offset_s,
        match=found.match,
        clock=timing.clock,
        bars=timing.bars,
        first_bar=whole[0].number,
        last_bar=whole[-1].number,
        untold_bars=tuple(bar.number for bar in whole if bar.late_ms is None),
        spread_ms=timing.spread_ms,
        moves=timing.moves,
        broke=break_of(timing.bars, timing.moves),
        singer=None,
        missing_singer=None,
        holes=(),
        rests=(),
        gain_ratio=1.0,
        levels=(),
        faults=(),
        planned_s=ends[1].plan_s - ends[0].plan_s,
        played_s=(ends[1].time_s - ends[0].time_s) / timing.clock.recorder_ratio,
        findings=(),
        notes=(),
    )


def _whole_bars(timing: Timing, take: Clip) -> tuple[BarTiming, ...]:
    """Those that begin and end within the recording; all where none does."""
    starts_s = [bar.time_s for bar in timing.bars]
    length_s = starts_s[-1] - starts_s[-2] if len(starts_s) > 1 else 0.0
    ends_s = [*starts_s[1:], starts_s[-1] + length_s]
    whole = tuple(
        bar
        for bar, start_s, end_s in zip(timing.bars, starts_s, ends_s, strict=True)
        if start_s > -_SAME_S and end_s < take.duration_s + _SAME_S
    )
    return whole or timing.bars


def _with_sound(
    review: Review, known: KnownOption, take: Clip, part: Clip, asked: CandidateRecord
) -> Review:
    """The review with what the sound tells beyond the beats, and what to make of it."""
    option = known.option
    plan = option.record.plan
    through = ThroughRoom(band_levels(take, option.clip, review.take_s_at))
    holes = _not_waits(gaps_of(through, review.bar_at), review)
    whose = parts_heard(known.parts, take, review.take_s_at)
    rests = () if whose is None else part_rests(whose, review.bars, plan.duration_s, holes)
    missing_s = [(hole.start_s, hole.start_s + hole.length_s) for hole in holes]
    if review.missing_singer is not None and option.record.singer_s is not None:
        missing_s.append((review.take_s_at(option.record.singer_s), np.inf))
    ratio = gain_ratio(through, missing_s)
    heard = replace(
        review,
        holes=holes,
        rests=_not_steps(rests, review),
        gain_ratio=ratio,
        levels=section_levels(through.levels, review, missing_s) if ratio == 1 else (),
        faults=faults_of(part, option.clip),
    )
    tempo_bpm_at = {line.number: plan.tempo.bpm_at(line.beat + 1) for line in plan.bar_lines}
    return replace(
        heard,
        findings=findings_of(
            heard,
            asked=asked.rank,
            labels={record.rank: record.label for record in (asked, option.record)},
            tempo_bpm_at=tempo_bpm_at,
        ),
        notes=notes_of(
            heard,
            has_singer=option.record.singer_s is not None,
            knows_voice=known.sung is not None,
            knows_parts=not known.parts.is_estimated,
            stopped_s=stopped_s(through),
        ),
    )


def _not_waits(holes: Sequence[Hole], review: Review) -> tuple[Hole, ...]:
    """Without those in which the band waits before it goes on late: that is told as a step."""
    waits = [
        (m.bar, m.size_ms / _MS_A_SECOND + _SAME_S)
        for m in review.moves
        if m.kind == "step" and m.size_ms > 0
    ]
    return tuple(
        hole
        for hole in holes
        if not any(bar - 1 <= hole.bar <= bar and hole.length_s < most_s for bar, most_s in waits)
    )


def _not_steps(rests: Sequence[Rest], review: Review) -> tuple[Rest, ...]:
    """Without those in the bars around a step, where no moment is surely the plan's."""
    steps = [move.bar for move in review.moves if move.kind == "step"]
    return tuple(
        rest
        for rest in rests
        if not any(bar - 1 <= rest.bar and rest.last_bar <= bar for bar in steps)
    )


def notes_of(
    review: Review,
    *,
    has_singer: bool,
    knows_voice: bool,
    knows_parts: bool,
    stopped_s: float | None,
) -> tuple[str, ...]:
    """What could not be told of a try, and why.

    Parameters
    ----------
    knows_voice, knows_parts : bool
        Whether the stem of the voice, and those of the songs, are at hand.
    stopped_s : float or None
        Time of the plan from which on nothing of it is played.
    """
    notes = []
    if review.first_bar > review.bars[0].number:
        notes.append(f"The recording starts in bar {review.first_bar - 1}.")
    if review.last_bar < review.bars[-1].number:
        notes.append(f"The recording ends in bar {review.last_bar + 1}.")
    if stopped_s is not None:
        notes.append(f"Nothing of the plan is played from bar {review.bar_at(stopped_s)} on.")
    if review.untold_bars:
        notes.append(f"Not told: how late {_bars_words(review.untold_bars)}.")
    if review.gain_ratio > 1:
        notes.append("The recorder rode the gain by itself: levels are not judged.")
    if has_singer and review.missing_singer is None:
        notes += _of_singer(review, knows_voice=knows_voice)
    if not knows_parts:
        notes.append(
            "Who rests is told for the drums and the low notes alone, and roughly: "
            "the stems of the songs are not at hand."
        )
    return tuple(notes)


def _of_singer(review: Review, *, knows_voice: bool) -> Iterator[str]:
    if review.singer is None or not review.singer.is_sure:
        yield SINGER_UNTOLD
    if not knows_voice:
        yield (
            "Whether the singer was there was not told: "
            "that needs the voice's stem at hand, and a voice that stands out."
        )


def _bars_words(numbers: tuple[int, ...]) -> str:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = ", ".join(f"{r[0]} to {r[-1]}" if len(r) > 1 else str(r[0]) for r in runs)
    return f"bar {told} is" if len(numbers) == 1 else f"bars {told} are"
