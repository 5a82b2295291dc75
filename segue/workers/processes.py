"""Workers that are processes of this machine, one thread each.

On Linux they are forked from a server that has loaded once what all of them work with, and that
can do so while this process loads its own; elsewhere each starts anew, for forking is not safe
with the systems' own libraries there.

A process that dies in mid-task (killed, or out of memory) breaks the whole pool of the
standard library, and nobody can say whose task it was. So every task that was under way is
done again alone in a process of its own: the innocent ones finish, and one that kills its
process again and again is told as its problem.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import forkserver, resource_tracker
from typing import TYPE_CHECKING, Final, Self

from segue.workers import (
    N_AHEAD_A_WORKER,
    ONE_THREAD,
    In,
    Out,
    Outcome,
    attempt,
    heed_what_is_lost,
    one_heap,
)
from segue.workers.ahead import blocked, end_with_parent, interrupt

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Iterator
    from multiprocessing.context import BaseContext
    from types import FrameType


N_TRIES_ALONE: Final = 2
"""A task whose process was lost is tried this often more."""
_QUIET: Final = "segue.workers.quiet"


def make_ready(*modules: str) -> bool:
    """Begin to load what the processes will work with, side by side with what the caller does.

    Does nothing where processes start anew, which is told as False, or when it was done before.
    """
    is_ahead = sys.platform == "linux"
    if is_ahead:
        multiprocessing.set_forkserver_preload([_QUIET, *modules])
        is_ahead = _context().get_start_method() == "forkserver"
    return is_ahead


def end_loading() -> None:
    """End the server that processes are forked from, where there is one that nobody will need.

    By itself it ends when it has loaded all, and until then whoever reads the output of this
    command through a pipe waits for more.
    """
    pid = getattr(forkserver._forkserver, "_forkserver_pid", None)
    if pid is not None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


class Processes:
    """A pool of processes; see `segue.workers.Workers`.

    The processes stay for all the tasks of a `with` block: each takes a second or two to load
    what it works with, and keeps the songs it has read.
    """

    shares_disk: Final = True

    def __init__(self, n_workers: int) -> None:
        self.n_workers = n_workers
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._leave(at_once=kind is not None)

    def begun(self, task: Callable[[In], Out], index: int, value: In) -> Future[Outcome[Out]]:
        """A task handed to the processes, which are started if there are none."""
        if self._pool is None:
            self._pool = ProcessPoolExecutor(
                self.n_workers,
                mp_context=_context(),
                initializer=_begin,
                initargs=(dict(os.environ),),
            )
        # the pool starts its processes with its first tasks
        with _one_thread_each(), _interrupted_later():
            return self._pool.submit(_attempt, task, index, value)

    def _leave(self, *, at_once: bool) -> None:
        """End the processes; what they do is interrupted first where it has to be at once."""
        pool, self._pool = self._pool, None
        if pool is None:
            return
        if not at_once:
            pool.shutdown(wait=True)
            return
        children = list(pool._processes)  # its own: others of this process work for somebody else
        is_over = threading.Event()
        interrupter = threading.Thread(target=interrupt, args=(children, is_over))
        interrupter.start()
        pool.shutdown(wait=True, cancel_futures=True)
        is_over.set()
        interrupter.join()

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """See `segue.workers.Workers.outcomes`."""
        waiting = enumerate(inputs)
        suspects: deque[tuple[int, In]] = deque()
        is_done = False
        while not is_done:
            while suspects:
                yield done_alone(task, *suspects.popleft())
            is_done = yield from self._until_broken(task, waiting, suspects)

    def _until_broken(
        self,
        task: Callable[[In], Out],
        waiting: Iterator[tuple[int, In]],
        suspects: deque[tuple[int, In]],
    ) -> Generator[Outcome[Out], None, bool]:
        """Work until all is done (returns True) or a process is lost: then who was under way."""
        under_way: dict[Future[Outcome[Out]], tuple[int, In]] = {}
        try:
            while True:
                for index, value in waiting:
                    under_way[self.begun(task, index, value)] = (index, value)
                    if len(under_way) >= self.n_workers * N_AHEAD_A_WORKER:
                        break
                if not under_way:
                    return True
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    yield future.result()
                    del under_way[future]
        except BrokenProcessPool:
            suspects.extend(sorted(under_way.values(), key=lambda pair: pair[0]))
            self._leave(at_once=False)
            return False
        except BaseException:  # nobody waits for the rest: an interruption, or a reader that left
            self._leave(at_once=True)
            raise


def done_alone(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out]:
    """A task in a process of its own."""
    for _ in range(N_TRIES_ALONE):
        with Processes(1) as alone, contextlib.suppress(BrokenProcessPool):
            return alone.begun(task, index, value).result()
    return Outcome(
        index=index,
        problem=f"The process that worked on it was stopped {N_TRIES_ALONE + 1} times (memory may "
        "have run out): try again with fewer workers.",
    )


_is_busy = threading.Event()
_is_leaving = threading.Event()


def _attempt(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out]:
    """`attempt` in a worker: an interrupted task cleans up, and nothing is begun after it.

    The process must not end by itself: the pool would take it for lost, and stop the others
    in the middle of their cleaning.
    """
    interrupted: Outcome[Out] = Outcome(index=index, problem="interrupted.")
    if _is_leaving.is_set():
        return interrupted
    _is_busy.set()
    try:
        return attempt(task, index, value)
    except KeyboardInterrupt:
        return interrupted
    finally:
        _is_busy.clear()


def _context() -> BaseContext:
    """How processes are started here."""
    if sys.platform == "linux":
        # no folder for the server's socket, or no process: then each is started anew
        with contextlib.suppress(OSError), _one_thread_each(), blocked("SIGHUP"):
            resource_tracker.ensure_running()  # the server needs it, and starting it lets all in
            with blocked("SIGINT"):
                forkserver.ensure_running()
            return multiprocessing.get_context("forkserver")
    return multiprocessing.get_context("spawn")


@contextmanager
def _interrupted_later() -> Iterator[None]:
    """A Ctrl-C counts at the end of the `with` block, so that no process is half started.

    One that its parent no longer waits for would complain of that.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _frame: came.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if came:
            signal.raise_signal(signal.SIGINT)


@contextmanager
def _one_thread_each() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(ONE_THREAD)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _begin(environment: dict[str, str]) -> None:
    """Make a new process quiet when it is interrupted, and end when its parent is gone.

    A server keeps the environment that it was started in: the parent's may be another by now.
    What it has loaded is kept out of every search for what nobody holds any more: that writes into
    each object's head, and so makes a copy of nearly all that the processes share.
    """
    gc.freeze()
    gc.enable()
    one_heap()
    os.environ.clear()
    os.environ.update(environment | ONE_THREAD)
    signal.signal(signal.SIGINT, _on_interrupt)
    heed_what_is_lost(_on_interrupt)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)  # the terminal was closed: the parent tells
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    threading.Thread(target=end_with_parent, daemon=True).start()


def _on_interrupt(_number: int, _frame: FrameType | None) -> None:
    # the terminal and the parent may both send one: the second must not disturb the cleaning
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _is_leaving.set()
    if _is_busy.is_set():
        raise KeyboardInterrupt
