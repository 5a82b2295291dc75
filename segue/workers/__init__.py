"""Independent tasks done side by side: on the cores of this machine, or on a Dask cluster.

Whoever has many songs to hear or joins to render hands a function of a module's top
level and its inputs to `Workers.outcomes`, and does not know where the work is done.
Memory that a task has freed is given back to the system before the next one starts.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final, Generic, Literal, Protocol, TypeVar

from segue.errors import OptionError, SegueError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from types import FrameType

ONE_THREAD: Final = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)
"""Environment that keeps numerical libraries to one thread; they look at it when they are imported.

Two multiply our small matrices no sooner than one, and cost a third more processor time and
memory; several processes with a thread for each core get in each other's way. And with one the
last digits of a result do not depend on the machine's cores.
"""
_HEAP_OPTIONS: Final = {-8: 1, -3: 4 << 20, -1: 32 << 20}
"""Of GNU's `malloc.h`: `M_ARENA_MAX`, how many heaps there may be; `M_MMAP_THRESHOLD`, bytes of an
array that is given back to the system as soon as it is freed; `M_TRIM_THRESHOLD`, bytes that are
kept free at the end of the heap. A process that renders holds 10 to 20 MB less with these two than
with GNU's own, which grow, at 3 % more processor time; with a quarter of them it takes a fifth
more."""
Travel = Literal["path", "bytes"]
"""How files reach a cluster: by a path that all machines share, or by their bytes."""
In = TypeVar("In")
Out = TypeVar("Out")
N_AHEAD_A_WORKER: Final = 2
"""Inputs under way or in line for each worker: memory stays flat over any number of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome(Generic[Out]):
    """What became of one task.

    Parameters
    ----------
    index : int
        Which input it was, from 0.
    result : object or None
        What the task returned; None where it failed.
    problem : str or None
        One sentence, where it failed.
    """

    index: int
    result: Out | None = None
    problem: str | None = None


class Workers(Protocol):
    """Hands that take tasks."""

    @property
    def n_workers(self) -> int:
        """How many tasks are done at once."""
        ...

    @property
    def shares_disk(self) -> bool:
        """Whether what a task leaves in a folder is there for this process, too."""
        ...

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """Do a task on every input, and yield what became of each as it is done, in any order.

        Parameters
        ----------
        task : callable
            A function of a module's top level. Where a worker is lost it is done again, so it
            must leave the same whatever it left before. A `SegueError` ends it as a problem.
        inputs : iterable
            Taken as workers become free; each can be pickled.
        """
        ...


def attempt(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out]:
    """Do a task once, with the faults that a person can mend as words."""
    try:
        return Outcome(index=index, result=task(value))
    except SegueError as error:
        return Outcome(index=index, problem=str(error))
    finally:
        give_back()


def _no_digest() -> str:
    return ""


def _tell_nobody(_words: str) -> None:
    pass


@contextmanager
def open_workers(
    *,
    n_processes: int | None = None,
    cluster: str | None = None,
    travel: Travel = "path",
    digest: Callable[[], str] = _no_digest,
    tell: Callable[[str], None] = _tell_nobody,
) -> Iterator[Workers]:
    """Workers for the time of a `with` block.

    Parameters
    ----------
    n_processes : int or None
        Processes on this machine; None is one for each core. One is this process itself.
    cluster : str or None
        Address of a Dask scheduler, such as 'tcp://10.0.0.5:8786', to work there instead.
    travel : {'path', 'bytes'}
        How files reach the cluster.
    digest : callable
        A function of a module's top level that says which code and libraries a process has. A
        cluster's workers must say the same as this process.
    tell : callable
        Told in a few words when a cluster has no worker left.

    Raises
    ------
    OptionError
        If there are no such processes, or no such cluster.
    """
    if n_processes is not None and n_processes < 1:
        raise OptionError(f"{n_processes} workers cannot work: give 1 or more.")
    n_processes = n_processes or n_cores()
    if cluster is not None:
        from segue.workers.cluster import open_cluster

        with open_cluster(cluster, travel, digest=digest, tell=tell) as workers:
            yield workers
    elif n_processes == 1:
        yield _Here()
    else:
        from segue.workers.processes import Processes

        with Processes(n_processes) as workers:
            yield workers


def make_ready(n_processes: int, *modules: str) -> bool:
    """Begin to load what processes of this machine will work with, before there is any work.

    Loading takes a second or two, and so does the caller's own: this is for whoever knows that
    processes will be wanted. Needless calls do no harm.

    Parameters
    ----------
    n_processes : int
        As for `open_workers`; for one nothing is done.
    modules : str
        Names of the modules that the tasks are in.
    """
    if n_processes > 1:
        from segue.workers import processes

        return processes.make_ready(*modules)
    return False


@dataclass(frozen=True, slots=True)
class _Here:
    """The process itself, one task after the other."""

    n_workers: int = 1
    shares_disk: bool = True

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        for index, value in enumerate(inputs):
            yield attempt(task, index, value)


def n_cores() -> int:
    """Cores that this process may use."""
    with contextlib.suppress(AttributeError):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


_AGAIN_S: Final = 0.01  # after which an interruption that was lost comes again


def heed_what_is_lost(again: Callable[[int, FrameType | None], object]) -> None:
    """Let an interruption come again that fell where none can be raised, as in a destructor.

    Python tells of it and goes on, and whoever asked this process to end waits for all its work.

    Parameters
    ----------
    again : callable
        Handles the signal that comes a moment later.
    """
    usual = sys.unraisablehook

    def told(unraisable: sys.UnraisableHookArgs) -> None:
        is_lost = isinstance(unraisable.exc_value, KeyboardInterrupt)
        if is_lost and hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, again)
            signal.setitimer(signal.ITIMER_REAL, _AGAIN_S)
        else:
            usual(unraisable)

    sys.unraisablehook = told


def give_back() -> None:
    """Let the C library return what was freed, where it can.

    GNU's keeps freed arrays of up to 32 MB for later, in pieces that the next step's
    arrays often do not fit; over the steps of a run that comes to a fifth of its memory.
    """
    trim = _of_libc("malloc_trim")
    if trim is not None:
        trim(0)


def one_heap() -> None:
    """Let all threads share one small heap, where the C library can; for a process, at its start.

    GNU's gives each thread its own, and what a thread that reads has freed is then of no use to
    the step after it: up to 20 MB, differing from run to run. Nor are big arrays once they are
    freed, as the next ones are seldom of their size.
    """
    set_option = _of_libc("mallopt")
    if set_option is not None:
        for option, value in _HEAP_OPTIONS.items():
            set_option(option, value)


@cache
def _of_libc(name: str) -> Any:  # noqa: ANN401 - a C function
    """A function of the C library, where it has one."""
    return getattr(ctypes.CDLL(None), name, None) if sys.platform.startswith("linux") else None
