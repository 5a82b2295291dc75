"""A task, what becomes of it, and what can do it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Generic, Protocol, TypeVar

from segue.errors import SegueError
from segue.workers.memory import give_back

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

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

        Yields
        ------
        Outcome
        """
        ...


def attempt(task: Callable[[In], Out], index: int, value: In) -> Outcome[Out]:
    """Do a task once, with the faults that a person can mend as words.

    Parameters
    ----------
    task : callable
    index : int
        Of the input.
    value : object
        The input.

    Returns
    -------
    Outcome
    """
    try:
        return Outcome(index=index, result=task(value))
    except SegueError as error:
        return Outcome(index=index, problem=str(error))
    finally:
        give_back()
