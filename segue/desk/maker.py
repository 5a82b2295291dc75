"""Runs that are being made: one after the other, each option to be heard as soon as it is there."""

from __future__ import annotations

import threading
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from segue.desk.background import Background, went_wrong
from segue.errors import SegueError
from segue.job.between import make_segues
from segue.job.shortlist import N_PROPOSALS
from segue.workers.processes import Processes

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.desk.sketcher import RoughSound
    from segue.job.keeping import Rendered
    from segue.job.request import Request
    from segue.recipes import Recipe
    from segue.setlist.set_request import SetRequest

MOST_WAITING: Final = 20  # orders in line; more are a finger that got stuck
ROUGH_FIRST_S: Final = 2.0
"""So long the processor is left to the rough option before the work on all three begins."""
MOST_KEPT: Final = 20  # orders whose drafts are kept to be heard


@dataclass(frozen=True, slots=True, kw_only=True)
class SetOrder:
    """An evening that is to be planned, or made."""

    request: SetRequest
    plan_only: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftSound:
    """An option that is rendered before the run folder is whole."""

    name: str
    overall: float
    exit_s: float
    entry_s: float
    sound: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedRun:
    """A run or an evening that was ordered.

    Parameters
    ----------
    run : str
        Name of the run folder below the desk's folder; of an evening, its set file's.
    roughs : tuple of RoughSound
        What can be heard roughly: a first guess, and then what is being rendered.
    names : tuple of str
        Of the recipes that are rendered; none before they are chosen.
    """

    number: int
    request: Request | SetOrder
    run: str
    words: str = "waiting for the one before"
    state: str = "waiting"
    drafts: tuple[DraftSound, ...] = ()
    roughs: tuple[RoughSound, ...] = ()
    names: tuple[str, ...] = ()
    n_expected: int = N_PROPOSALS

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in ("made", "failed")


@dataclass(slots=True, kw_only=True)
class Maker(Background):
    """Makes runs in a thread, by processes that stay and keep what they have loaded.

    Parameters
    ----------
    tell : callable
        Called from the thread whenever a run has got further.
    rough : callable
        Gives a rough first option of what is to be made, at once; None where there is none yet.
    """

    n_workers: int
    tell: Callable[[], None]
    rough: Callable[[Request], RoughSound | None] = lambda _: None
    makings: dict[int, OrderedRun] = field(default_factory=dict)
    _sketches: dict[int, threading.Thread] = field(default_factory=dict)

    def order(self, request: Request | SetOrder, run: str) -> OrderedRun | None:
        """Have a run made; None where too many wait already."""
        with self._news:
            if sum(not m.is_over for m in self.makings.values()) >= MOST_WAITING:
                return None
            number = max(self.makings, default=0) + 1
            made = OrderedRun(number=number, request=request, run=run)
            self.makings[number] = made
            for old in sorted(self.makings)[:-MOST_KEPT]:
                if self.makings[old].is_over:
                    del self.makings[old]
        self._sketch(number, request)
        with self._news:
            self._news.notify_all()
        return made

    def latest(self, is_it: Callable[[OrderedRun], bool]) -> OrderedRun | None:
        """The last order of a kind."""
        return next((m for m in reversed(self.makings.values()) if is_it(m)), None)

    def _sketch(self, number: int, request: Request | SetOrder) -> None:
        """Have a rough first option made, whatever else is in line."""
        if isinstance(request, SetOrder):
            return

        def sketch() -> None:
            self._rough_of(number, request)

        thread = threading.Thread(target=sketch, name="sketch", daemon=True)
        thread.start()
        self._sketches[number] = thread

    def _sketch_chosen(self, number: int, request: Request, names: tuple[str, ...]) -> None:
        """Have those made roughly that are about to be rendered; an earlier guess is let go."""
        with self._news:
            kept = tuple(r for r in self.makings[number].roughs if r.name in names)
            self._change(number, roughs=kept, names=names, n_expected=len(names))

        def sketch() -> None:
            for name in names:
                self._rough_of(number, replace(request, only=(name,)))

        threading.Thread(target=sketch, name="sketch", daemon=True).start()

    def _rough_of(self, number: int, request: Request) -> None:
        with suppress(SegueError):  # a rough one that cannot be is no reason to say so
            rough = self.rough(request)
            with self._news:
                making = self.makings.get(number)
                if rough is None or making is None or making.is_over:
                    return
                if making.names and rough.name not in making.names:
                    return  # a first guess that comes too late
                others = tuple(r for r in making.roughs if r.name != rough.name)
                self._change(number, roughs=(*others, rough))

    def _work(self) -> None:
        with Processes(self.n_workers) as workers:
            while (number := self._awaited(self._next)) is not None:
                self._make(number, workers)

    def _next(self) -> int | None:
        return min((n for n, m in self.makings.items() if m.state == "waiting"), default=None)

    def _make(self, number: int, workers: Processes) -> None:
        self._change(number, state="under way", words="beginning")
        sketch = self._sketches.pop(number, None)
        if sketch is not None:
            sketch.join(ROUGH_FIRST_S)
        request = self.makings[number].request
        try:
            if isinstance(request, SetOrder):
                _make_evening(request, workers, lambda words: self._change(number, words=words))
            else:
                self._make_run(number, request, workers)
        except SegueError as error:
            self._change(number, state="failed", words=str(error))
        except Exception as error:  # noqa: BLE001 - told, and the next one is made
            self._change(number, state="failed", words=went_wrong(error))
        else:
            self._change(number, state="made", words="made")

    def _make_run(self, number: int, request: Request, workers: Processes) -> None:
        def hear(made: Rendered) -> None:
            record = made.record
            draft = DraftSound(
                name=record.plan.recipe,
                overall=record.scorecard.overall,
                exit_s=record.exit_s,
                entry_s=record.entry_s,
                sound=made.packed[0],
            )
            self._change(number, drafts=(*self.makings[number].drafts, draft))

        def chosen(recipes: tuple[Recipe, ...]) -> None:
            self._sketch_chosen(number, request, tuple(recipe.name for recipe in recipes))

        make_segues(
            request,
            progress=lambda words: self._change(number, words=words),
            on_chosen=chosen,
            on_rendered=hear,
            workers=workers,
        )

    def _change(self, number: int, **news: object) -> None:
        with self._news:
            self.makings[number] = replace(self.makings[number], **news)  # type: ignore[arg-type]
        self.tell()


def _make_evening(order: SetOrder, workers: Processes, progress: Callable[[str], None]) -> None:
    from segue.setlist.make_set import made_evening
    from segue.setlist.set_request import evening_writer

    with evening_writer(order.request.out):
        made_evening(
            order.request, workers, file=None, plan_only=order.plan_only, progress=progress
        )
