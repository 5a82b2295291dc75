"""Independent tasks done side by side: on the cores of this machine, or on a Dask cluster.

Whoever has many songs to hear or joins to render hands a function of a module's top
level and its inputs to `Workers.outcomes`, and does not know where the work is done.
"""

from __future__ import annotations

import contextlib
import os
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from segue.errors import OptionError
from segue.workers.work import In, Out, Outcome, Workers, attempt, one_heap

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

__all__ = ["Outcome", "Travel", "Workers", "make_ready", "n_cores", "one_heap", "open_workers"]

Travel = Literal["path", "bytes"]
"""How files reach a cluster: by a path that all machines share, or by their bytes."""


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

    Returns
    -------
    bool
        Whether they are being loaded.
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
