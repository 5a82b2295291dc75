"""Processes forked from one that began to load before anybody knew what is asked.

The server that others are forked from is a new interpreter with a tracker beside it, and one more
fork when the task comes: a quarter of a second until it begins to load, and memory that nobody
works in. This one begins at once, loads what its tasks need while its parent reads what they are,
and works itself; where more are wanted it forks them, so that what is loaded lies in memory once.
Linux only: with other systems' own libraries forking is not safe.
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
import traceback
from contextlib import contextmanager
from multiprocessing.connection import Connection, wait
from typing import TYPE_CHECKING, Any, Final, Self

from segue.workers import (
    ONE_THREAD,
    In,
    Out,
    Outcome,
    attempt,
    heed_what_is_lost,
    one_heap,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from types import FrameType

_INTERRUPT_EVERY_S: Final = 0.1  # seconds between interrupts, until all processes have heard one
_READ_BYTES: Final = 1 << 16  # at once, of what nobody wants to know any more


class Ahead:
    """One process or several; see `segue.workers.Workers`.

    They end with their parent, however that ends. A task whose process is lost is done again.
    """

    shares_disk: Final = True

    def __init__(self, modules: tuple[str, ...]) -> None:
        forking = multiprocessing.get_context("fork")
        ours, theirs = forking.Pipe()
        # a daemon: whoever leaves without having asked for anything need not wait for it
        self._first = forking.Process(
            target=_serve, args=(theirs, ours, modules), daemon=True, name="ahead"
        )
        with blocked("SIGINT"):  # until it has said what it does with one
            self._first.start()
        theirs.close()
        self._hands: list[Connection] = [ours]
        self._pids: dict[Connection, int] = {}
        """Of those that have loaded and said so."""

    @property
    def n_workers(self) -> int:
        """How many tasks are done at once."""
        return len(self._hands)

    def grown_to(self, n_processes: int) -> Self:
        """The same with more processes, which the first forks once it has loaded."""
        from multiprocessing.reduction import send_handle

        while len(self._hands) < n_processes:
            ours, theirs = multiprocessing.Pipe()
            with contextlib.suppress(OSError):  # it is lost: then so are they all
                self._hands[0].send(None)
                send_handle(self._hands[0], theirs.fileno(), self._first.pid)
            theirs.close()
            self._hands.append(ours)
        return self

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._is_loading():
            self._first.kill()
        for hand in self._hands:
            hand.close()
        self._first.join()

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """See `segue.workers.Workers.outcomes`."""
        waiting = enumerate(inputs)
        busy: dict[Connection, tuple[int, In]] = {}
        try:
            while self._hand_out(task, waiting, busy):
                ready = wait(list(busy))
                for hand in [hand for hand in busy if hand in ready]:
                    said = self._said_by(hand)
                    if not isinstance(said, int):
                        order = busy.pop(hand)
                        yield said or _alone(task, *order)
            for order in waiting:  # nobody is left to do it
                yield _alone(task, *order)
        except BaseException:  # nobody waits for the rest: an interruption, or a reader that left
            self._interrupt(list(busy))
            raise

    def _hand_out(
        self,
        task: Callable[[In], Out],
        waiting: Iterator[tuple[int, In]],
        busy: dict[Connection, tuple[int, In]],
    ) -> bool:
        """Give whoever is idle something to do; whether anybody has."""
        for hand in self._hands:
            if hand not in busy and (order := next(waiting, None)) is not None:
                busy[hand] = order
                with contextlib.suppress(OSError):  # it is lost, which is heard later
                    hand.send((task, *order))
        return bool(busy)

    def _said_by(self, hand: Connection) -> Outcome[Any] | int | None:
        """What became of its task, or its number as soon as it can work; None if it is lost."""
        try:
            said: Outcome[Any] | int | Exception = hand.recv()
        except (OSError, EOFError):
            self._hands.remove(hand)
            return None
        if isinstance(said, Exception):
            raise said
        if isinstance(said, int):
            self._pids[hand] = said
        return said

    def _is_loading(self) -> bool:
        """Whether the first has not begun to work yet, and so nobody has."""
        first = next(iter(self._hands), None)
        return first is not None and first not in self._pids and not first.poll()

    def _interrupt(self, busy: list[Connection]) -> None:
        """Have those who work clean up and end; a process that still loads has nothing to clean."""
        if self._is_loading():
            self._first.kill()
        for hand in busy:
            if hand not in self._pids:
                self._said_by(hand)
        is_over = threading.Event()
        pids = [self._pids[hand] for hand in busy if hand in self._pids]
        interrupter = threading.Thread(target=interrupt, args=(pids, is_over))
        interrupter.start()
        for hand in busy:
            with contextlib.suppress(OSError):
                while os.read(hand.fileno(), _READ_BYTES):
                    pass
        is_over.set()
        interrupter.join()


_BEGUN: Final[list[Ahead]] = []
"""The one that nobody has taken yet."""


def begin_ahead(*modules: str) -> None:
    """Begin to load some modules in a process for tasks to come; nothing where that cannot be.

    To be called before there is a second thread, and before anything is loaded.
    """
    if sys.platform == "linux" and threading.active_count() == 1:
        with contextlib.suppress(OSError):  # no process, or no memory for one
            _BEGUN.append(Ahead(modules))


def taken_ahead() -> Ahead | None:
    """The process that was begun, for whoever asks first; None where there is none."""
    return _BEGUN.pop() if _BEGUN else None


@contextmanager
def blocked(name: str) -> Iterator[None]:
    """What is started here does not get a signal unless it lets it through.

    A Ctrl-C: see `quiet`. A closed terminal: their parent tells them.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {getattr(signal, name)})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def interrupt(pids: list[int], is_over: threading.Event) -> None:
    """Interrupt processes until all have heard it: one that is just starting does not yet."""
    left = list(pids)
    while left and not is_over.is_set():
        for pid in tuple(left):
            try:
                os.kill(pid, signal.SIGINT)
            except ProcessLookupError:
                left.remove(pid)
        is_over.wait(_INTERRUPT_EVERY_S)


def end_with_parent() -> None:
    """End at once when the parent is gone; for a thread of its own."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _alone(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out]:
    """A task whose process was lost, in one of its own."""
    from segue.workers.processes import done_alone

    return done_alone(task, index, value)


_is_busy: Final = threading.Event()


def _serve(ours: Connection, theirs: Connection, modules: tuple[str, ...]) -> None:
    """Load, then do what comes until nobody can send any more; fork another where one is wanted."""
    theirs.close()
    _load(modules)
    forked: list[int] = []
    watch = threading.Thread(target=end_with_parent, daemon=True)
    with contextlib.suppress(EOFError, BrokenPipeError, ConnectionResetError, KeyboardInterrupt):
        ours.send(os.getpid())
        while True:
            order = ours.recv()
            if order is None:
                ours = _forked(ours, forked)
            else:
                if watch.ident is None:  # not before others are forked: they would lack it
                    watch.start()
                ours.send(_answer(*order))
    for pid in forked:  # so that whoever has waited for this one need not wait for them
        with contextlib.suppress(OSError):
            os.waitpid(pid, 0)


def _load(modules: tuple[str, ...]) -> None:
    os.environ.update(ONE_THREAD)
    for name in ("SIGINT", "SIGHUP"):  # for the parent, which ends this one
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    gc.disable()  # an eighth of loading goes into looking for what nobody has thrown away yet
    for name in modules:
        with contextlib.suppress(ImportError):  # whoever needs it will say so
            importlib.import_module(name)
    gc.freeze()  # a search for it would write into all that is shared
    gc.enable()
    one_heap()
    signal.signal(signal.SIGINT, _on_interrupt)
    heed_what_is_lost(_on_interrupt)


def _forked(ours: Connection, forked: list[int]) -> Connection:
    """Fork; the same connection, and in the new process its own."""
    from multiprocessing.reduction import recv_handle

    theirs = Connection(recv_handle(ours))
    pid = os.fork()
    if pid:
        forked.append(pid)
        theirs.close()
        return ours
    ours.close()
    forked.clear()
    theirs.send(os.getpid())
    return theirs


def _answer(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out] | Exception:
    _is_busy.set()
    try:
        return attempt(task, index, value)
    except Exception as error:  # noqa: BLE001 - raised again by the parent
        error.add_note(traceback.format_exc())
        return error
    finally:
        _is_busy.clear()


def _on_interrupt(_number: int, _frame: FrameType | None) -> None:
    # the terminal and the parent may both send one: the second must not disturb the cleaning
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if not _is_busy.is_set():
        os._exit(1)
    raise KeyboardInterrupt
