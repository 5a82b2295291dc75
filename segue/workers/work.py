"""A task, what becomes of it, and what can do it.

Memory that it has freed is given back to the system before the next one starts.
"""

from __future__ import annotations

import ctypes
import sys
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final, Generic, Protocol, TypeVar

from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

ONE_THREAD: Final = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)
"""Environment that keeps numerical libraries to one thread; they look at it when they are imported.

Two multiply our small matrices no sooner than one, and cost a third more processor time and
memory; several processes with a thread for each core get in each other's way. And with one the
last digits of a result do not depend on the machine's cores.
"""


_M_ARENA_MAX: Final = -8
"""Of GNU's `malloc.h`: how many heaps there may be."""


def give_back() -> None:
    """Let the C library return what was freed, where it can.

    GNU's keeps freed arrays of up to 32 MB for later, in pieces that the next step's
    arrays often do not fit; over the steps of a run that comes to a fifth of its memory.
    """
    trim = _of_libc("malloc_trim")
    if trim is not None:
        trim(0)


def one_heap() -> None:
    """Let all threads share one heap, where the C library can; for a whole process, at its start.

    GNU's gives each thread its own, and what a thread that reads has freed is then of no use to
    the step after it: up to 20 MB, differing from run to run.
    """
    set_option = _of_libc("mallopt")
    if set_option is not None:
        set_option(_M_ARENA_MAX, 1)


@cache
def _of_libc(name: str) -> Any:  # noqa: ANN401 - a C function
    """A function of the C library, where it has one."""
    return getattr(ctypes.CDLL(None), name, None) if sys.platform.startswith("linux") else None


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
    """Do a task once, with the faults that a person can mend as words.

    Parameters
    ----------
    index : int
        Of the input.
    value : object
        The input.
    """
    try:
        return Outcome(index=index, result=task(value))
    except SegueError as error:
        return Outcome(index=index, problem=str(error))
    finally:
        give_back()
