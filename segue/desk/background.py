"""Work in the background: a thread for as long as the desk is open, and processes that it asks."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TypeVar

from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.workers import In, Out
    from segue.workers.processes import Processes

CLOSING: Final = "The desk is closing."
Next = TypeVar("Next")


@dataclass(slots=True, kw_only=True)
class Background:
    """Does what is in line, one after the other; each kind says in `_work` how."""

    _news: threading.Condition = field(default_factory=threading.Condition)
    _is_closing: bool = False

    def start(self) -> None:
        """Begin to work."""
        name = type(self).__name__.lower()
        threading.Thread(target=self._work, name=name, daemon=True).start()

    def close(self) -> None:
        """Begin nothing more; whoever waits is told."""
        with self._news:
            self._is_closing = True
            self._let_go()
            self._news.notify_all()

    def _work(self) -> None:
        raise NotImplementedError

    def _let_go(self) -> None:
        """Empty the line; called when the desk closes."""

    def _awaited(self, found: Callable[[], Next | None]) -> Next | None:
        """What `found` gives, as soon as it gives something; None when the desk closes."""
        with self._news:
            while not self._is_closing:
                wanted = found()
                if wanted is not None:
                    return wanted
                self._news.wait()
        return None


def done_by(process: Processes, task: Callable[[In], Out], value: In) -> Out:
    """What one task comes to in a process.

    Raises
    ------
    SegueError
        Whatever goes wrong.
    """
    try:
        (outcome,) = process.outcomes(task, [value])
    except Exception as error:
        raise SegueError(went_wrong(error)) from error
    if outcome.result is None:
        raise SegueError(outcome.problem or "This came to nothing.")
    return outcome.result


def went_wrong(error: Exception) -> str:
    """A fault of ours as a sentence."""
    return f"This went wrong here ({error!r})."
