"""One process that makes drafts and stays: it keeps the songs that it has read.

What somebody waits for comes first; while nobody waits, the two songs that are picked are read and
their rough option is made, so that it is there when it is asked for. That is what Segue itself
would take by the facts alone, drafted: the bridge and a few seconds around it at half the rate. The
job itself listens to many recipes before it takes three, so the rough one need not be among them.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from segue.analysis.shared_count import counted_together
from segue.audio.write import packed
from segue.catalogue.scan import song_at
from segue.desk.background import CLOSING, Background, done_by
from segue.errors import SegueError
from segue.job.attempt import Attempt, planned
from segue.job.draft import AROUND_S, make_draft
from segue.job.shortlist import N_PROPOSALS
from segue.job.steps import draft_candidate
from segue.plan import Given, Plan, proposals
from segue.plan.heard_words import filled_in
from segue.recipes import all_recipes
from segue.workers.processes import Processes

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.audio.clip import Clip, Edge
    from segue.desk.ears import Ears
    from segue.heard import HeardEdge
    from segue.job.changes import Changes
    from segue.job.request import Request

_STAMP_BYTES: Final = 16  # 128 bits: no two pairs of songs share them


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughOrder:
    """A rough option that is wanted.

    Parameters
    ----------
    stamps : tuple of str
        Of the files of the two songs: what was read of other files is let go.
    """

    request: Request
    songs: tuple[HeardEdge, HeardEdge]
    stamps: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughSound:
    """A draft of an option.

    Parameters
    ----------
    sound : bytes
        Music as FLAC.
    exit_s, entry_s : float
        Where the old song is left and the new one comes in, in seconds of this sound.
    """

    name: str
    sound: bytes
    exit_s: float
    entry_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftOrder:
    """A draft of a changed option that is wanted.

    Parameters
    ----------
    solo : tuple of str
        Layers that are heard alone; empty for all.
    """

    run: Path
    option: str
    changes: Changes
    own_recipes: Path | None = None
    solo: tuple[str, ...] = ()


def rough_option(order: RoughOrder) -> RoughSound:
    """The likeliest option as a draft, or the one whose recipe is named.

    Raises
    ------
    SegueError
        If nothing can be planned between the songs, or one cannot be read.
    """
    request = order.request
    old, new = order.songs
    facts = filled_in(*counted_together(old.facts, new.facts))
    songs = (replace(old, facts=facts[0]), replace(new, facts=facts[1]))
    shelf = all_recipes(request.recipes, own=request.own_recipes).recipes
    given = Given(
        talk_s=request.talk_s,
        outgoing_roles=old.roles,
        incoming_roles=new.roles,
        purpose=request.purpose,
        asked=request.asked,
    )
    stamps = blake2b("\n".join(order.stamps).encode(errors="replace"), digest_size=_STAMP_BYTES)
    place = Path(stamps.hexdigest())  # tells these songs from others, and is no place
    named = tuple(recipe for recipe in shelf if recipe.name in request.only)
    found = named or proposals(shelf, *facts, n_proposals=N_PROPOSALS, given=given)
    problem = SegueError("No recipe suits these songs.")
    for recipe in found:
        step = Attempt(run=place, request=request, songs=songs, recipe=recipe)
        try:
            plan = planned(step, heard_s=AROUND_S)
        except SegueError as error:
            problem = error
            continue
        return _sound_of(plan, draft_candidate(step, plan).music)
    raise problem


def changed_draft(order: DraftOrder) -> RoughSound:
    """A draft of an option, changed or as it is.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    made = make_draft(
        order.run, order.option, order.changes, own_recipes=order.own_recipes, solo=order.solo
    )
    return _sound_of(made.plan, made.clip, made.starts_s)


def _sound_of(plan: Plan, music: Clip, starts_s: float = 0.0) -> RoughSound:
    return RoughSound(
        name=plan.recipe,
        sound=packed(music),
        exit_s=plan.seconds_at(plan.exit_beat) - starts_s,
        entry_s=plan.seconds_at(plan.entry_beat) - starts_s,
    )


MOST_KEPT: Final = 8
"""Rough options that are kept; a hundred kilobytes each."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Errand:
    task: Callable[[Any], RoughSound]
    order: RoughOrder | DraftOrder
    outcome: Future[RoughSound] = field(default_factory=Future)


@dataclass(slots=True, kw_only=True)
class Sketcher(Background):
    """Drafts, one at a time."""

    _waiting: deque[_Errand] = field(default_factory=deque)
    _ahead: RoughOrder | None = None
    _made: list[tuple[RoughOrder, RoughSound]] = field(default_factory=list)

    def rough(self, order: RoughOrder) -> RoughSound:
        """A rough option, made now unless it was made before; the thread that asks waits.

        Raises
        ------
        SegueError
            If there can be none.
        """
        known = self._known(order)
        return known or self._done(rough_option, order)

    def draft(self, order: DraftOrder) -> RoughSound:
        """A draft of a change; the thread that asks waits.

        Raises
        ------
        SegueError
            If something cannot be done.
        """
        return self._done(changed_draft, order)

    def prepare(self, order: RoughOrder) -> None:
        """Make a rough option while nobody waits; the latest that is picked counts."""
        with self._news:
            if self._known(order) is None:
                self._ahead = order
                self._news.notify_all()

    def _known(self, order: RoughOrder) -> RoughSound | None:
        return next((sound for known, sound in self._made if known == order), None)

    def _done(
        self, task: Callable[[Any], RoughSound], order: RoughOrder | DraftOrder
    ) -> RoughSound:
        errand = _Errand(task=task, order=order)
        with self._news:
            if self._is_closing:
                raise SegueError(CLOSING)
            self._waiting.append(errand)
            self._news.notify_all()
        return errand.outcome.result()

    def _work(self) -> None:
        with Processes(1) as process:
            while (errand := self._awaited(self._next)) is not None:
                try:
                    sound = done_by(process, errand.task, errand.order)
                except SegueError as error:
                    errand.outcome.set_exception(error)
                    continue
                if isinstance(errand.order, RoughOrder):
                    with self._news:
                        self._made = [*self._made[1 - MOST_KEPT :], (errand.order, sound)]
                errand.outcome.set_result(sound)

    def _next(self) -> _Errand | None:
        while self._waiting:
            errand = self._waiting.popleft()
            known = isinstance(errand.order, RoughOrder) and self._known(errand.order)
            if not known:
                return errand
            errand.outcome.set_result(known)
        ahead, self._ahead = self._ahead, None
        if ahead is None or self._known(ahead) is not None:
            return None
        return _Errand(task=rough_option, order=ahead)

    def _let_go(self) -> None:
        while self._waiting:
            self._waiting.popleft().outcome.set_exception(SegueError(CLOSING))


def rough_order(ears: Ears, request: Request) -> RoughOrder | None:
    """The rough option of what is to be made; None while a song is not heard as it is now."""
    found: list[HeardEdge] = []
    stamps: list[str] = []
    places: tuple[tuple[Path, Edge], ...] = ((request.outgoing, "end"), (request.incoming, "start"))
    for path, edge in places:
        song = song_at(path)
        known = None if song is None else ears.known(song, edge)
        if known is None or known.opened is None:
            return None
        found.append(known.opened.heard)
        stamps.append(known.stamp)
    return RoughOrder(request=request, songs=(found[0], found[1]), stamps=(stamps[0], stamps[1]))
