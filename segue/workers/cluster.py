"""Workers of an existing Dask cluster.

The scheduler gives a lost worker's tasks to another one, so a worker that is killed costs a
retry. Every machine needs the same version of Segue.
"""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from segue import __version__
from segue.errors import OptionError, RunFolderError
from segue.workers.parcel import changed, packed, unpacked, with_our_paths, write_back
from segue.workers.work import N_AHEAD_A_WORKER, In, Out, Outcome, attempt

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from segue.workers import Travel
    from segue.workers.parcel import Parcel

CONNECT_LIMIT_S: Final = 10


@contextmanager
def open_cluster(address: str, travel: Travel) -> Iterator[Cluster]:
    """A connection for the time of a `with` block; tasks under way are called off at its end.

    Parameters
    ----------
    address : str
        Of the scheduler.
    travel : {'path', 'bytes'}
        How files reach the cluster.

    Yields
    ------
    Cluster

    Raises
    ------
    OptionError
        If Dask is not installed, nobody answers, there is no worker, or one has another version.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise OptionError(
            "a cluster needs the package distributed: pip install distributed."
        ) from error
    try:
        client = Client(address, timeout=CONNECT_LIMIT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise OptionError(
            f"no Dask scheduler answers at '{address}': start one with 'dask scheduler', and "
            "give its address as it prints it."
        ) from error
    with client:
        _check_workers(client, address)
        yield Cluster(client=client, travel=travel)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """A cluster; see `segue.workers.work.Workers`."""

    client: Any
    travel: Travel
    shares_disk: bool = False
    """Bytes that travel leave nothing here, and a path may be another machine's."""

    @property
    def n_workers(self) -> int:
        """Threads of all workers."""
        n_threads: int = sum(self.client.nthreads().values())
        return max(1, n_threads)

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """See `segue.workers.work.Workers.outcomes`."""
        from distributed import as_completed

        waiting = enumerate(inputs)
        under_way: dict[Any, int] = {}
        parcels: dict[int, Parcel] = {}
        done = as_completed(loop=self.client.loop)
        while True:
            for index, value in waiting:
                parcel = packed(value) if self.travel == "bytes" else None
                # not pure: the same input may be asked for again after its files have changed
                future = self.client.submit(away, task, index, value, parcel, pure=False)
                under_way[future] = index
                if parcel is not None:
                    parcels[index] = parcel
                done.add(future)
                if len(under_way) >= self.n_workers * N_AHEAD_A_WORKER:
                    break
            if not under_way:
                return
            future = next(done)
            index = under_way.pop(future)
            yield _received(future, index, parcels.pop(index, None))


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned:
    """What comes back from a worker: an outcome, and what became of the task's files."""

    outcome: Outcome[Any]
    files: Mapping[tuple[int, str], bytes | None]


def away(task: Callable[[In], Out], index: int, value: In, parcel: Parcel | None) -> Returned:
    """Do a task on a worker.

    Parameters
    ----------
    task : callable
    index : int
    value : object
        The task's input.
    parcel : Parcel or None
        Its files, unless the disks are shared.

    Returns
    -------
    Returned
    """
    if parcel is None:
        return Returned(outcome=attempt(task, index, value), files={})
    with tempfile.TemporaryDirectory(prefix="segue-") as folder:
        value, roots = unpacked(value, parcel, Path(folder))
        outcome = attempt(task, index, value)
        result = with_our_paths(outcome.result, parcel, roots)
        problem = outcome.problem
        for root, our in zip(roots, parcel.roots, strict=True):
            problem = problem and problem.replace(str(root), str(our))
        outcome = replace(outcome, result=result, problem=problem)
        return Returned(outcome=outcome, files=changed(parcel, roots))


def _received(future: Any, index: int, parcel: Parcel | None) -> Outcome[Any]:  # noqa: ANN401
    """The outcome, once its files are on our disk."""
    from distributed import KilledWorker

    try:
        returned: Returned = future.result()
        if parcel is not None:
            write_back(parcel, returned.files)
    except KilledWorker:
        return Outcome(
            index=index,
            problem="the workers that worked on it were lost again and again (memory may have "
            "run out): try it alone.",
        )
    except RunFolderError as error:
        return Outcome(index=index, problem=str(error))
    except OSError as error:
        return Outcome(
            index=index, problem=f"what came back could not be written ({error}): make room."
        )
    return returned.outcome


def _check_workers(client: Any, address: str) -> None:  # noqa: ANN401
    versions = client.run(_version)
    if not versions:
        raise OptionError(
            f"the cluster at '{address}' has no workers: start some with 'dask worker {address}'."
        )
    for worker, version in versions.items():
        if version != __version__:
            raise OptionError(
                f"worker {worker} has Segue {version}, and this is {__version__}: install the "
                "same on all machines."
            )


def _version() -> str:
    from segue import __version__ as version

    return version
