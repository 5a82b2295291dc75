"""Versions of options, made by a process that stays: the server answers everybody meanwhile.

It keeps the songs that it has read, so that the next version of the same run is made sooner. What
it does is told step by step.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from segue.desk.background import CLOSING, Background, done_by
from segue.errors import SegueError
from segue.job.version import N_STEPS, VersionOrder, checked_version, kept_version, rendered_version
from segue.workers.processes import Processes

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.job.keeping import Rendered
    from segue.runfolder import CandidateRecord

MOST_WAITING: Final = 20  # versions in line; more are a finger that got stuck


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderWay:
    """How far a version is.

    Parameters
    ----------
    n_done : int
        Steps that are done, of `N_STEPS`.
    """

    run: str
    option: str
    words: str = "waiting for the one before"
    n_done: int = 0
    n_steps: int = N_STEPS


@dataclass(slots=True, kw_only=True, eq=False)
class _Errand:
    order: VersionOrder
    progress: UnderWay
    label: Future[str] = field(default_factory=Future)


@dataclass(slots=True, kw_only=True)
class VersionMaker(Background):
    """Makes versions one after the other.

    Parameters
    ----------
    tell : callable
        Called from the thread whenever one has got further.
    """

    tell: Callable[[], None]
    _errands: deque[_Errand] = field(default_factory=deque)

    def order(self, order: VersionOrder, run: str) -> Future[str] | None:
        """Have a version made; None where too many wait already.

        Parameters
        ----------
        run : str
            What the desk calls the run folder.

        Returns
        -------
        Future of str
            What the version is called, such as '2b'; or a `SegueError`.
        """
        errand = _Errand(order=order, progress=UnderWay(run=run, option=str(order.option)))
        with self._news:
            if self._is_closing or len(self._errands) >= MOST_WAITING:
                return None
            self._errands.append(errand)
            self._news.notify_all()
        self.tell()
        return errand.label

    def under_way(self, run: str) -> tuple[UnderWay, ...]:
        """What is being made of a run, in its order."""
        with self._news:
            return tuple(e.progress for e in self._errands if e.progress.run == run)

    def _work(self) -> None:
        with Processes(1) as process:
            while (errand := self._awaited(self._next)) is not None:
                try:
                    label = self._made(errand, process)
                except SegueError as error:
                    self._over(errand, error)
                else:
                    self._over(errand, label)

    def _next(self) -> _Errand | None:
        return self._errands[0] if self._errands else None

    def _let_go(self) -> None:
        for errand in self._errands:
            errand.label.set_exception(SegueError(CLOSING))
        self._errands.clear()

    def _over(self, errand: _Errand, came: str | SegueError) -> None:
        with self._news:
            if errand in self._errands:  # else the desk is closing, and it was told so
                self._errands.remove(errand)
                if isinstance(came, str):
                    errand.label.set_result(came)
                else:
                    errand.label.set_exception(came)
        self.tell()

    def _made(self, errand: _Errand, process: Processes) -> str:
        order = errand.order
        self._step(errand, "reading the songs", 0)
        name = done_by(process, checked_version, order)
        self._step(errand, f"rendering '{name}'", 1)
        made = done_by(process, rendered_version, order)
        self._step(errand, "writing the page", 2)
        return done_by(process, _kept, (order, made)).label

    def _step(self, errand: _Errand, words: str, n_done: int) -> None:
        before = errand.progress
        errand.progress = UnderWay(run=before.run, option=before.option, words=words, n_done=n_done)
        self.tell()


def _kept(work: tuple[VersionOrder, Rendered]) -> CandidateRecord:
    return kept_version(*work)
