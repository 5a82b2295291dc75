"""A task on its way to a worker of a cluster, and what is done with it there."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from segue.errors import OptionError
from segue.workers.connection import make_here
from segue.workers.parcel import changed, unpacked, with_our_paths
from segue.workers.work import Outcome, attempt

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from segue.workers.connection import Make
    from segue.workers.parcel import Parcel


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """What is sent to a worker.

    Parameters
    ----------
    task : callable
    index : int
    value : object
        The task's input.
    parcel : Parcel or None
        Its files, unless the disks are shared.
    """

    task: Callable[[Any], Any]
    index: int
    value: Any
    parcel: Parcel | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned:
    """What comes back from a worker: an outcome, and what became of the task's files."""

    outcome: Outcome[Any]
    files: Mapping[tuple[int, str], bytes | None]


def away(errand: Errand, theirs: Make, digest: Callable[[], str]) -> Returned:
    """Do a task on a worker.

    Parameters
    ----------
    errand : Errand
    theirs : Make
        Which Segue asks.
    digest : callable
        As for `make_here`.

    Returns
    -------
    Returned

    Raises
    ------
    OptionError
        If this is not the same Segue.
    """
    _check_make(theirs, digest)
    task, index, parcel = errand.task, errand.index, errand.parcel
    if parcel is None:
        return Returned(outcome=attempt(task, index, errand.value), files={})
    with tempfile.TemporaryDirectory(prefix="segue-") as folder:
        value, roots = unpacked(errand.value, parcel, Path(folder))
        outcome = attempt(task, index, value)
        result = with_our_paths(outcome.result, parcel, roots)
        problem = outcome.problem
        for root, our in zip(roots, parcel.roots, strict=True):
            problem = problem and problem.replace(str(root), str(our))
        outcome = replace(outcome, result=result, problem=problem)
        return Returned(outcome=outcome, files=changed(parcel, roots))


def _check_make(theirs: Make, digest: Callable[[], str]) -> None:
    """A worker that came after the start has not been compared yet."""
    from distributed import get_worker

    difference = make_here(digest).unlike(theirs)
    if difference is not None:
        raise OptionError(f"worker {get_worker().address} {difference}")
