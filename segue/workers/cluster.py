"""Workers of an existing Dask cluster.

The scheduler gives a lost worker's tasks to another one, so a worker that is killed costs a
retry. Every machine needs the same Segue and numerical libraries: they are compared at the
start, and again with every task, for a worker may come later: one that differs then is told
of and left out, and what it was given goes to the others.
"""

from __future__ import annotations

from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any, Final

from segue.errors import OptionError, RunFolderError
from segue.workers import N_AHEAD_A_WORKER, In, Out, Outcome, Travel
from segue.workers.connection import Errand, OtherMakeError, away, check_workers, connected
from segue.workers.parcel import Parcel, packed, write_back

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from segue.workers.connection import Make, Returned

LOOK_EVERY_S: Final = 10
"""After so long without an outcome somebody looks whether there is a worker at all."""


@contextmanager
def open_cluster(
    address: str, travel: Travel, *, digest: Callable[[], str], tell: Callable[[str], None]
) -> Iterator[Cluster]:
    """A connection for the time of a `with` block; tasks under way are called off at its end.

    Parameters
    ----------
    travel : {'path', 'bytes'}
        How files reach the cluster.
    digest : callable
        Says which code and libraries a process has; a worker's must be ours.
    tell : callable
        Told in a few words when there is no worker left, or one is left out.

    Raises
    ------
    OptionError
        If Dask is not installed, nobody answers, there is no worker, or one has another Segue.
    """
    with connected(address) as client:
        with _loss_as_sentence(client, address):
            make = check_workers(client, address, digest)
        yield Cluster(
            client=client, address=address, travel=travel, make=make, digest=digest, tell=tell
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """A cluster; see `segue.workers.Workers`.

    Parameters
    ----------
    left_out : set of str
        Addresses of workers that came later with another Segue; grows.
    """

    client: Any
    address: str
    travel: Travel
    make: Make
    digest: Callable[[], str]
    tell: Callable[[str], None]
    shares_disk: bool = False
    """Bytes that travel leave nothing here, and a path may be another machine's."""
    left_out: set[str] = field(default_factory=set)

    @property
    def n_workers(self) -> int:
        """Threads of all workers."""
        return max(1, self._n_threads())

    def _n_threads(self) -> int:
        return sum(self._threads_of_ours().values())

    def _threads_of_ours(self) -> dict[str, int]:
        with _loss_as_sentence(self.client, self.address):
            threads: dict[str, int] = self.client.nthreads()
        return {worker: n for worker, n in threads.items() if worker not in self.left_out}

    def outcomes(self, task: Callable[[In], Out], inputs: Iterable[In]) -> Iterator[Outcome[Out]]:
        """See `segue.workers.Workers.outcomes`.

        Raises
        ------
        OptionError
            If the scheduler is gone, or only workers with another Segue are left.
        """
        waiting = enumerate(inputs)
        under_way: dict[int, tuple[Any, Errand]] = {}
        ends: SimpleQueue[_End] = SimpleQueue()
        while True:
            for index, value in waiting:
                parcel = packed(value) if self.travel == "bytes" else None
                errand = Errand(task=task, index=index, value=value, parcel=parcel)
                under_way[index] = (self._begun(errand, ends), errand)
                if len(under_way) >= self.n_workers * N_AHEAD_A_WORKER:
                    break
            if not under_way:
                return
            end = self._next(ends)
            future, errand = under_way.pop(end.index)
            if isinstance(end.error, OtherMakeError):
                self._leave_out(end.error)
                under_way[end.index] = (self._begun(errand, ends), errand)
            else:
                yield self._received(end, future, errand.parcel)

    def _leave_out(self, other: OtherMakeError) -> None:
        """Give a worker no more; told once of each."""
        if other.worker not in self.left_out:
            self.left_out.add(other.worker)
            self.tell(f"worker {other.worker} {other.difference} It is left out.")
        if not self._threads_of_ours():
            raise OptionError(f"worker {other.worker} {other.difference}")

    def _begun(self, errand: Errand, ends: SimpleQueue[_End]) -> Any:  # noqa: ANN401
        """The future of a task, whose end will be put to the others."""
        with _loss_as_sentence(self.client, self.address):
            # not pure: the same input may be asked for again after its files have changed
            ours = list(self._threads_of_ours()) if self.left_out else None
            future = self.client.submit(
                away, errand, self.make, self.digest, pure=False, workers=ours
            )
            self.client.loop.add_callback(_put_end, future, errand.index, ends)
            return future

    def _next(self, ends: SimpleQueue[_End]) -> _End:
        """The next end; where none comes for lack of a worker, that is told once."""
        is_told = False
        while True:
            try:
                end = ends.get(timeout=LOOK_EVERY_S)
            except Empty:
                if self._n_threads() or is_told:
                    continue
                if self.left_out:  # tasks kept from those wait for no other, even if one comes
                    raise OptionError(
                        f"the cluster at '{self.address}' has no worker of this Segue left; what "
                        "is done is kept, run the same command again when there is one."
                    ) from None
                is_told = True
                self.tell(
                    "the cluster has no worker: waiting for one "
                    f"('dask worker {self.address}' starts it)."
                )
            else:
                return end

    def _received(self, end: _End, future: Any, parcel: Parcel | None) -> Outcome[Any]:  # noqa: ANN401
        """The outcome, once its files are on our disk."""
        if future.status == "error":  # on the worker's side
            return _failed(end)
        with _loss_as_sentence(self.client, self.address):
            returned = end.returned()
        if parcel is not None:
            try:
                write_back(parcel, returned.files)
            except RunFolderError as error:
                return Outcome(index=end.index, problem=str(error))
            except OSError as error:
                return Outcome(
                    index=end.index,
                    problem=f"what came back could not be written ({error}): make room.",
                )
        return returned.outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class _End:
    """How a task ended: with what came back, or with an error."""

    index: int
    result: Returned | None = None
    error: Exception | None = None

    def returned(self) -> Returned:
        """What came back; raises what went wrong on the way."""
        if self.result is None:
            raise self.error or CancelledError
        return self.result


async def _put_end(future: Any, index: int, ends: SimpleQueue[_End]) -> None:  # noqa: ANN401
    """Wait for a task and its result in the client's own loop, which nothing else holds up."""
    try:
        ends.put(_End(index=index, result=await future))
    except Exception as error:  # noqa: BLE001 - whoever waits for the end raises it
        ends.put(_End(index=index, error=error))


@contextmanager
def _loss_as_sentence(client: Any, address: str) -> Iterator[None]:  # noqa: ANN401
    """Tell by a sentence that the scheduler is gone, or has forgotten what it was asked."""
    try:
        yield
    except Exception as error:
        if isinstance(error, OptionError) or (
            not isinstance(error, (OSError, CancelledError)) and client.status == "running"
        ):
            raise
        raise OptionError(
            f"the cluster at '{address}' is gone: its scheduler was stopped or cannot be reached; "
            "what is done is kept, run the same command again when it is back."
        ) from error


def _failed(end: _End) -> Outcome[Any]:
    """A task that was not done, as words where a person can mend it."""
    from distributed import KilledWorker

    if isinstance(end.error, KilledWorker):
        problem = (
            "the workers that worked on it were lost again and again (memory may have run out): "
            "try it alone."
        )
    elif isinstance(end.error, OSError):
        problem = f"a worker could not keep its files for it ({end.error}): make room there."
    else:
        raise end.error or CancelledError
    return Outcome(index=end.index, problem=problem)
