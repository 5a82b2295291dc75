"""From a run folder and a recording to a review."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.tuning import tuning_of
from segue.audio.clip import Clip
from segue.errors import InputError
from segue.review.advice import advice_of
from segue.review.align import aligned
from segue.review.faults import faults_of
from segue.review.find import find_parts, find_transition
from segue.review.level import holes_of, levels_against, section_levels
from segue.review.listening import listening_to, read_clip
from segue.review.report import Review
from segue.review.singer import singer_entry
from segue.review.timing import break_of, timing_of
from segue.review.voice import planned_voice
from segue.runfolder import read_document
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.plan.plan import Plan
    from segue.review.find import FoundPlace
    from segue.review.timing import Timing
    from segue.runfolder import CandidateRecord, RunDocument

LEAST_MATCH: Final = 0.43
"""Below, a recording does not hold the transition: right ones reach .50 and more, wrong ones
.41 at most (`benchmarks/review.py`)."""


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


def review_take(request: ReviewRequest) -> Review:
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
    document = read_document(request.run)
    record = candidate_of(document, request.rank)
    reference = read_clip(request.run / record.music_file)
    take = read_clip(request.take)
    tunings = tuning_of(reference), tuning_of(take)
    listened = [
        listening_to(clip, tuning_cents=cents)
        for clip, cents in zip((reference, take), tunings, strict=True)
    ]
    found = find_transition(listened[0], listened[1])
    places = find_parts(listened[0], listened[1], found, record.entry_s)
    if len(places) == 1 and found.match < LEAST_MATCH:
        raise InputError(
            request.take,
            f"does not hold candidate {record.label} ('{record.plan.recipe}'): its best match is "
            f"{found.match:.2f} and {LEAST_MATCH:g} is needed; "
            "check that it is the right take, and whole.",
        )
    plan = record.plan
    beats_s = [plan.seconds_at(beat) for beat in range(int(plan.end_beat) + 1)]
    alignment = aligned(listened[0], listened[1], places, beats_s)
    part = _part(take, places, plan)
    timing = timing_of(alignment, plan, tuning_of(part) - tunings[0])
    review = _told(request, document, record, timing, found)
    voice = planned_voice(document, record)
    singer = singer_entry(voice, reference, take, review, timing.take_s_at)
    return _with_sound(replace(review, singer=singer), reference, take, part)


def _part(take: Clip, places: Sequence[FoundPlace], plan: Plan) -> Clip:
    """The transition alone."""
    first = max(round(places[0].offset_s * take.rate_hz), 0)
    last = round((places[-1].offset_s + places[-1].speed * plan.duration_s) * take.rate_hz)
    return Clip(samples=take.samples[first:last], rate_hz=take.rate_hz)


def _told(
    request: ReviewRequest,
    document: RunDocument,
    record: CandidateRecord,
    timing: Timing,
    found: FoundPlace,
) -> Review:
    """What the beats tell."""
    known = [bar for bar in timing.bars if bar.late_ms is not None]
    ends = (known[0], known[-1]) if known else (timing.bars[0], timing.bars[-1])
    return Review(
        segue_version=__version__,
        take=request.take.name,
        from_title=document.outgoing.title,
        to_title=document.incoming.title,
        recipe=record.plan.recipe,
        candidate=record.rank,
        offset_s=timing.offset_s,
        match=found.match,
        clock=timing.clock,
        bars=timing.bars,
        spread_ms=timing.spread_ms,
        broke=break_of(timing.bars),
        singer=None,
        holes=(),
        levels=(),
        faults=(),
        planned_s=ends[1].plan_s - ends[0].plan_s,
        played_s=(ends[1].time_s - ends[0].time_s) / timing.clock.recorder_ratio,
        advice="",
    )


def _with_sound(review: Review, reference: Clip, take: Clip, part: Clip) -> Review:
    """The review with what the sound tells beyond the beats, and the advice."""
    levels = levels_against(take, reference, review)
    heard = replace(
        review,
        holes=holes_of(levels, review),
        levels=section_levels(levels, review),
        faults=faults_of(part, reference),
    )
    return replace(heard, advice=advice_of(heard))
