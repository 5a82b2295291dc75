"""From a run folder and a recording to a review of every try in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.tuning import tuning_of
from segue.errors import InputError
from segue.files.whole_file import written_at
from segue.review.find import FoundPlace, bridge_match, find_parts, find_transition, try_spans_s
from segue.review.listening import Listening, listening_to, read_clip
from segue.review.one_try import HeardOption, KnownOption, review_of_try
from segue.review.partials import presence
from segue.review.parts import planned_parts
from segue.review.report import Rehearsal, Review
from segue.review.stems import edge_at_hand
from segue.review.voice import SungPart, planned_voice, sung_part
from segue.runfolder import CandidateRecord, read_document
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audio.clip import Clip

LEAST_MATCH: Final = 0.43
"""Below, a recording does not hold the transition: right ones reach .50 and more, wrong ones
.41 at most (`benchmarks/review_bands.py`)."""
_LEAST_BETTER: Final = 0.1
"""Another option must agree better by so much, with the bridge and with whole and bridge (right
ones agree better by .3 on takes of `benchmarks/_review_damage.py`)."""
_LEAST_IN_PLAN: Final = 0.8  # of the voice's presence in the plan's own sound; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewRequest:
    """What `review_take` is asked to do.

    Parameters
    ----------
    take : Path
        A recording of the band playing one of its candidates.
    rank : int, str or None
        Candidate; None is the one that was chosen, or else the best scored.
    """

    run: Path
    take: Path
    rank: int | str | None = None


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
        self._options: dict[int, HeardOption] = {}
        self._known: dict[int, KnownOption] = {}

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
            review_of_try(known, take, heard, span_s, asked.record)
            for span_s in try_spans_s(
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

    def _option(self, record: CandidateRecord) -> HeardOption:
        if record.rank not in self._options:
            clip = read_clip(self.run / record.music_file)
            cents = tuning_of(clip)
            self._options[record.rank] = HeardOption(
                record=record,
                clip=clip,
                heard=listening_to(clip, tuning_cents=cents),
                tuning_cents=cents,
            )
        return self._options[record.rank]

    def _known_of(self, option: HeardOption) -> KnownOption:
        record = option.record
        if record.rank not in self._known:
            edge = edge_at_hand(self.document, "incoming", self.document.rate_hz)
            self._known[record.rank] = KnownOption(
                option=option,
                voice=planned_voice(self.document, record, edge),
                sung=_heard_in_plan(sung_part(self.document, record, edge), option.clip),
                parts=planned_parts(self.document, record.plan, option.clip),
            )
        return self._known[record.rank]

    def _played(self, asked: HeardOption, take: Listening) -> tuple[HeardOption, FoundPlace]:
        """The option that is heard, and where: the one asked for unless another is far nearer."""
        place = find_transition(asked.heard, take)
        bridge = _bridge_match(asked, take, place)
        best, best_place, most = asked, place, place.match + bridge + 2 * _LEAST_BETTER
        for record in self.document.candidates:
            if record.rank == asked.record.rank:
                continue
            other = self._option(record)
            other_place = find_transition(other.heard, take)
            other_bridge = _bridge_match(other, take, other_place)
            both = other_place.match + other_bridge
            if both > most and other_bridge > bridge + _LEAST_BETTER:
                best, best_place, most = other, other_place, both
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


def _bridge_match(option: HeardOption, take: Listening, place: FoundPlace) -> float:
    bridge_s = (option.record.exit_s, option.record.entry_s)
    return bridge_match(option.heard, take, place, bridge_s)
