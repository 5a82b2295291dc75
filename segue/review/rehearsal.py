"""From a run folder and a recording to a review of every try in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.tuning import tuning_of
from segue.audio.clip import Clip
from segue.errors import InputError
from segue.files.file_times import written_at
from segue.review.align import aligned, bar_shift
from segue.review.dropout import band_levels, gaps_of, stopped_s
from segue.review.faults import faults_of
from segue.review.find import find_parts, find_transition
from segue.review.findings import findings_of
from segue.review.level import gain_ratio, levels_against, section_levels
from segue.review.listening import listening_to, read_clip
from segue.review.option_heard import option_heard
from segue.review.parts import part_rests, parts_heard, planned_parts
from segue.review.report import MissingSinger, Rehearsal, Review
from segue.review.singer import singer_entry
from segue.review.singing import ABSENT_BELOW, phrase_late_s, presence
from segue.review.stems import edge_at_hand
from segue.review.timing import break_of, timing_of
from segue.review.tries import try_places
from segue.review.untold import notes_of
from segue.review.voice import planned_voice, sung_part
from segue.runfolder import read_document
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.plan.plan import Plan
    from segue.review.find import FoundPlace
    from segue.review.listening import Listening
    from segue.review.option_heard import OptionHeard
    from segue.review.parts import PlannedParts
    from segue.review.report import BarTiming, Hole
    from segue.review.timing import Timing
    from segue.review.voice import PlannedVoice, SungPart
    from segue.runfolder import CandidateRecord

LEAST_MATCH: Final = 0.43
"""Below, a recording does not hold the transition: right ones reach .50 and more, wrong ones
.41 at most (`benchmarks/review_bands.py`)."""
_LEAST_BETTER: Final = 0.1
"""Another option must agree better by so much, with the bridge and with whole and bridge (right
ones agree better by .3 on takes of `benchmarks/_review_damage.py`)."""
_MS_A_SECOND: Final = 1000.0  # milliseconds in a second
_LEAST_IN_PLAN: Final = 0.8  # of the voice's presence in the plan's own sound; by judgement
_SAME_S: Final = 0.05  # a bar that starts this little before the recording is whole; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewRequest:
    """What `review_take` is asked to do.

    Parameters
    ----------
    run : Path
        A run folder.
    take : Path
        A recording of the band playing one of its candidates.
    rank : int, str or None
        Candidate; None is the one that was chosen, or else the best scored.
    """

    run: Path
    take: Path
    rank: int | str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Option:
    """An option as it was rendered, and what is listened for in it."""

    record: CandidateRecord
    clip: Clip
    heard: Listening
    tuning_cents: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Known:
    """The option that is heard, and what the plan's songs tell of it: the same for every try."""

    option: _Option
    voice: PlannedVoice | None
    sung: SungPart | None
    parts: PlannedParts


def review_take(request: ReviewRequest) -> Rehearsal:
    """A recording of a rehearsal against its plan.

    Raises
    ------
    RunFolderError
        If the run folder cannot be read.
    AudioFileError
        If the recording or the candidate's music cannot.
    OptionError
        If there is no such candidate.
    InputError
        If the recording does not hold the transition.
    """
    return ListenedRun(request.run).review(request.take, request.rank)


class ListenedRun:
    """A run whose options are listened to once, for all the takes of it that are reviewed.

    Raises
    ------
    RunFolderError
        If the run folder cannot be read.
    """

    def __init__(self, run: Path) -> None:
        self.run, self.document = run, read_document(run)
        self._options: dict[int, _Option] = {}
        self._known: dict[int, _Known] = {}

    def review(self, path: Path, rank: int | str | None = None) -> Rehearsal:
        """A recording against its plan; see `review_take`."""
        asked = self._option(candidate_of(self.document, rank))
        take = read_clip(path)
        heard = listening_to(take, tuning_cents=tuning_of(take))
        played, found = self._played(asked, heard)
        places = find_parts(played.heard, heard, found, played.record.entry_s)
        if len(places) == 1 and found.match < LEAST_MATCH:
            raise InputError(
                path,
                f"does not hold option {asked.record.label} ('{asked.record.plan.recipe}'): its "
                f"best match is {found.match:.2f} and {LEAST_MATCH:g} is needed; "
                "check that it is the right take, and whole.",
            )
        known = self._known_of(played)
        tries = tuple(
            _reviewed(known, take, heard, (place.start_s, place.end_s), asked.record)
            for place in try_places(
                played.heard, heard, found, split_s=played.record.entry_s, least_match=LEAST_MATCH
            )
        )
        best = min(range(len(tries)), key=lambda n: _badness(tries[n]))
        made = written_at(path)
        return Rehearsal(
            segue_version=__version__,
            take=path.name,
            recorded_on=f"{made:%Y-%m-%d}",
            recorded_at=f"{made:%H:%M:%S}",
            from_title=self.document.outgoing.title,
            to_title=self.document.incoming.title,
            asked=asked.record.rank,
            tries=tries,
            best=best + 1,
        )

    def _option(self, record: CandidateRecord) -> _Option:
        if record.rank not in self._options:
            clip = read_clip(self.run / record.music_file)
            cents = tuning_of(clip)
            self._options[record.rank] = _Option(
                record=record,
                clip=clip,
                heard=listening_to(clip, tuning_cents=cents),
                tuning_cents=cents,
            )
        return self._options[record.rank]

    def _known_of(self, option: _Option) -> _Known:
        record = option.record
        if record.rank not in self._known:
            edge = edge_at_hand(self.document, "incoming", self.document.rate_hz)
            self._known[record.rank] = _Known(
                option=option,
                voice=planned_voice(self.document, record, edge),
                sung=_heard_in_plan(sung_part(self.document, record, edge), option.clip),
                parts=planned_parts(self.document, record.plan, option.clip),
            )
        return self._known[record.rank]

    def _played(self, asked: _Option, take: Listening) -> tuple[_Option, FoundPlace]:
        """The option that is heard, and where: the one asked for unless another is far nearer."""
        place = find_transition(asked.heard, take)
        heard = _agreement(asked, take, place)
        best, best_place, best_match = asked, place, heard.match + _LEAST_BETTER
        for record in self.document.candidates:
            if record.rank == asked.record.rank:
                continue
            other = self._option(record)
            other_place = find_transition(other.heard, take)
            told = _agreement(other, take, other_place)
            if told.match > best_match and told.bridge > heard.bridge + _LEAST_BETTER:
                best, best_place, best_match = other, other_place, told.match
        return best, best_place


def _heard_in_plan(sung: SungPart | None, plan: Clip) -> SungPart | None:
    """What is sung, if the option's own music has it: else a take is not blamed for it."""
    if sung is None:
        return None
    there = presence(sung, plan, lambda plan_s: plan_s, 0.0)
    return sung if there is not None and there >= _LEAST_IN_PLAN else None


def _badness(review: Review) -> tuple[int, float]:
    """Fewer findings are better; of as many, bars that are nearer to the grid."""
    return len(review.findings), review.spread_ms


def _agreement(option: _Option, take: Listening, place: FoundPlace) -> OptionHeard:
    record = option.record
    bridge_s = (record.exit_s, record.entry_s)
    return option_heard(record.rank, option.heard, take, place, bridge_s)


def _reviewed(
    known: _Known,
    take: Clip,
    heard: Listening,
    span_s: tuple[float, float],
    asked: CandidateRecord,
) -> Review:
    """One try, in seconds of the whole recording."""
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


def _with_singer(review: Review, known: _Known, take: Clip, timing: Timing) -> Review:
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
    review: Review, known: _Known, take: Clip, part: Clip, asked: CandidateRecord
) -> Review:
    """The review with what the sound tells beyond the beats, and what to make of it."""
    option = known.option
    plan = option.record.plan
    levels = levels_against(take, option.clip, review)
    bands = band_levels(take, option.clip, review.take_s_at)
    holes = _not_waits(gaps_of(bands, review.bar_at), review)
    whose = parts_heard(known.parts, take, review.take_s_at)
    ratio = gain_ratio(levels, holes, review)
    heard = replace(
        review,
        holes=holes,
        rests=() if whose is None else part_rests(whose, review.bars, plan.duration_s, holes),
        gain_ratio=ratio,
        levels=section_levels(bands, review) if ratio == 1 else (),
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
            stopped_s=stopped_s(bands),
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
