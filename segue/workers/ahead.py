"""A process that is forked before anything is loaded, for one who waits for its only task.

The server that others are forked from is a new interpreter with a tracker beside it, and one more
fork when the task comes: a quarter of a second until it begins to load. This one begins at once,
and loads what its task needs while its parent reads what the task is. Linux only: with other
systems' own libraries forking is not safe.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import multiprocessing
import os
import signal
import sys
import threading
from typing import TYPE_CHECKING, Final

from segue.workers import ONE_THREAD, In, Out, Outcome, attempt

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from multiprocessing.connection import Connection


class Ahead:
    """One process; see `segue.workers.Workers`.

    It ends with its parent, however that ends. If it is lost, its parent does the task itself.
    """

    n_workers: Final = 1
    shares_disk: Final = True

    def __init__(self, modules: tuple[str, ...]) -> None:
        forking = multiprocessing.get_context("fork")
        self._ours, theirs = forking.Pipe()
        # a daemon: whoever leaves without having asked for anything need not wait for it
        process = forking.Process(
            target=_serve, args=(self._ours, theirs, modules), daemon=True, name="ahead"
        )
        process.start()
        theirs.close()

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """See `segue.workers.Workers.outcomes`."""
        for index, value in enumerate(inputs):
            try:
                self._ours.send((task, index, value))
                outcome: Outcome[Out] = self._ours.recv()
            except (OSError, EOFError):
                outcome = attempt(task, index, value)
            yield outcome


_BEGUN: Final[list[Ahead]] = []
"""The one that nobody has taken yet."""


def begin_ahead(*modules: str) -> None:
    """Begin to load some modules in a process for a task to come; nothing where that cannot be.

    To be called before there is a second thread, and before anything is loaded.
    """
    if sys.platform == "linux" and threading.active_count() == 1:
        with contextlib.suppress(OSError):  # no process, or no memory for one
            _BEGUN.append(Ahead(modules))


def taken_ahead() -> Ahead | None:
    """The process that was begun, for whoever asks first; None where there is none."""
    return _BEGUN.pop() if _BEGUN else None


def _serve(theirs: Connection, ours: Connection, modules: tuple[str, ...]) -> None:
    """Load, then do what comes until nobody can send any more."""
    theirs.close()
    os.environ.update(ONE_THREAD)
    for name in ("SIGINT", "SIGHUP"):  # for the parent, which ends this one
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    gc.disable()  # an eighth of loading goes into looking for what nobody has thrown away yet
    for name in modules:
        with contextlib.suppress(ImportError):  # whoever needs it will say so
            importlib.import_module(name)
    gc.freeze()
    gc.enable()
    while True:
        try:
            task, index, value = ours.recv()
            ours.send(attempt(task, index, value))
        except (EOFError, BrokenPipeError):
            return
