"""One process that makes drafts and stays: it keeps the songs that it has read.

What somebody waits for comes first; while nobody waits, the two songs that are picked are read and
their rough option is made, so that it is there when it is asked for.
"""

from __future__ import annotations

import threading
from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from segue.catalogue.scan import song_at
from segue.desk.rough_option import RoughOrder, changed_draft, rough_option
from segue.errors import SegueError
from segue.workers.processes import Processes
from segue.workers.work import Outcome

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from segue.audio.clip import Edge
    from segue.desk.ears import Ears
    from segue.desk.rough_option import DraftOrder, RoughSound
    from segue.job.attempt import HeardSong
    from segue.job.request import Request

MOST_KEPT: Final = 8
"""Rough options that are kept; a hundred kilobytes each."""
_CLOSED: Final = "The desk is closing."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Errand:
    task: Callable[[Any], RoughSound]
    order: RoughOrder | DraftOrder
    outcome: Future[RoughSound] = field(default_factory=Future)


@dataclass(slots=True)
class Sketcher:
    """Drafts, one at a time."""

    _waiting: deque[_Errand] = field(default_factory=deque)
    _ahead: RoughOrder | None = None
    _made: list[tuple[RoughOrder, RoughSound]] = field(default_factory=list)
    _news: threading.Condition = field(default_factory=threading.Condition)
    _is_closing: bool = False

    def start(self) -> None:
        """Begin to work."""
        threading.Thread(target=self._work, name="sketcher", daemon=True).start()

    def close(self) -> None:
        """Begin nothing more; whoever waits is told."""
        with self._news:
            self._is_closing = True
            while self._waiting:
                self._waiting.popleft().outcome.set_exception(SegueError(_CLOSED))
            self._news.notify_all()

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
                raise SegueError(_CLOSED)
            self._waiting.append(errand)
            self._news.notify_all()
        return errand.outcome.result()

    def _work(self) -> None:
        with Processes(1) as process:
            while (errand := self._next()) is not None:
                try:
                    (outcome,) = list(process.outcomes(errand.task, [errand.order]))
                except Exception as error:  # noqa: BLE001 - told, and the next one is made
                    outcome = Outcome(index=0, problem=f"This went wrong here ({error!r}).")
                if outcome.result is None:
                    problem = outcome.problem or "The draft came to nothing."
                    errand.outcome.set_exception(SegueError(problem))
                    continue
                if isinstance(errand.order, RoughOrder):
                    with self._news:
                        self._made = [*self._made[1 - MOST_KEPT :], (errand.order, outcome.result)]
                errand.outcome.set_result(outcome.result)

    def _next(self) -> _Errand | None:
        with self._news:
            while True:
                if self._is_closing:
                    return None
                if self._waiting:
                    errand = self._waiting.popleft()
                    known = isinstance(errand.order, RoughOrder) and self._known(errand.order)
                    if not known:
                        return errand
                    errand.outcome.set_result(known)
                elif self._ahead is not None:
                    ahead, self._ahead = self._ahead, None
                    if self._known(ahead) is None:
                        return _Errand(task=rough_option, order=ahead)
                else:
                    self._news.wait()


def rough_order(ears: Ears, request: Request) -> RoughOrder | None:
    """The rough option of what is to be made; None while a song is not heard as it is now."""
    found: list[HeardSong] = []
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
