"""The way to a Dask scheduler: its address, whether it is one, and whether its workers are like us.

What distributed has to say on the way is kept quiet: whoever asked is told one sentence.

A task on its way to a worker of a cluster, and what is done with it there.
"""

from __future__ import annotations

import asyncio
import logging
import re
import tempfile
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from segue import __version__
from segue.errors import OptionError, shortened
from segue.workers import Outcome, attempt
from segue.workers.parcel import Parcel, changed, unpacked, with_our_paths

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """What is sent to a worker.

    Parameters
    ----------
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
    theirs : Make
        Which Segue asks.
    digest : callable
        As for `make_here`.

    Raises
    ------
    OtherMakeError
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
        raise OtherMakeError(get_worker().address, difference)


class OtherMakeError(Exception):
    """A worker that came later has another Segue; said on that worker.

    Parameters
    ----------
    worker : str
        Its address.
    difference : str
        As `Make.unlike` says it.
    """

    def __init__(self, worker: str, difference: str) -> None:
        self.worker = worker
        self.difference = difference
        super().__init__(worker, difference)  # it travels, and is made anew from these


CONNECT_LIMIT_S: Final = 8  # seconds after which a cluster counts as absent
_ADDRESS: Final = re.compile(
    r"(?:(?:tcp|tls|ws|wss|ucx)://)?(?:\[[0-9a-fA-F:.]+\]|[^\s/:\[\]]+):(?P<port>[0-9]{1,5})"
)
_HIGHEST_PORT: Final = 65_535  # of TCP, 16 bits


@dataclass(frozen=True, slots=True, kw_only=True)
class Make:
    """Which Segue a process is; what workers do counts as ours only if theirs is the same.

    Parameters
    ----------
    digest : str
        Of its code and the libraries that it calculates with.
    """

    version: str
    digest: str

    def unlike(self, ours: Make) -> str | None:
        """What is different from ours and what to do, said of a worker; None where nothing is."""
        if self.version != ours.version:
            difference = f"has Segue {self.version}, and this is {ours.version}"
        elif self.digest != ours.digest:
            difference = (
                f"has Segue {self.version} too, but with other code or other versions of the "
                "numerical libraries than here"
            )
        else:
            return None
        return f"{difference}: install the same on all machines."


def make_here(digest: Callable[[], str]) -> Make:
    """Which Segue this process is.

    Parameters
    ----------
    digest : callable
        A function of a module's top level.
    """
    return Make(version=__version__, digest=digest())


def check_address(address: str) -> None:
    """See that a text can be the address of a scheduler.

    Raises
    ------
    OptionError
        If it cannot.
    """
    found = _ADDRESS.fullmatch(address)
    if found is None or not 0 < int(found["port"]) <= _HIGHEST_PORT:
        raise OptionError(
            f"'{shortened(address)}' is no address of a Dask scheduler: one looks like "
            "tcp://HOST:8786."
        )


@contextmanager
def connected(address: str) -> Iterator[Any]:
    """A client of a scheduler, for the time of a `with` block.

    Raises
    ------
    OptionError
        If Dask is not installed, the address is none, or no scheduler answers there.
    """
    check_address(address)
    try:
        from distributed import Client
    except ImportError as error:
        raise OptionError(
            "a cluster needs the package distributed: pip install '.[cluster]' where Segue was "
            "installed from."
        ) from error
    with _without_logs():
        _check_scheduler(address)
        try:
            client = Client(address, timeout=CONNECT_LIMIT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise _no_scheduler(address) from error
        try:
            yield client
        finally:
            with suppress(OSError):  # it takes its leave of a scheduler that may be gone
                client.close()


def check_workers(client: Any, address: str, digest: Callable[[], str]) -> Make:  # noqa: ANN401
    """See that there are workers, and that all are like this process.

    Gives our make, and that of every worker.

    Parameters
    ----------
    digest : callable
        As for `make_here`.

    Raises
    ------
    OptionError
        If there is none, or one differs.
    """
    makes = client.run(make_here, digest, on_error="return")
    if not makes:
        raise OptionError(
            f"the cluster at '{address}' has no workers: start some with 'dask worker {address}'."
        )
    ours = make_here(digest)
    for worker, make in makes.items():
        if isinstance(make, Exception):
            raise OptionError(
                f"worker {worker} could not be asked for its Segue ({make}): install the same on "
                "all machines."
            )
        difference = make.unlike(ours)
        if difference is not None:
            raise OptionError(f"worker {worker} {difference}")
    return ours


def _check_scheduler(address: str) -> None:
    """Ask who is there, before a client does that knows no limit where something else answers."""
    try:
        with ThreadPoolExecutor(1) as own:  # the caller's thread may have a loop that runs
            identity = own.submit(_identity, address).result()
    except Exception as error:  # whoever answers may send anything, and be misread in any way
        raise _no_scheduler(address) from error
    if identity.get("type") != "Scheduler":
        raise _no_scheduler(address)


def _identity(address: str) -> dict[str, Any]:
    """What who answers says of itself; in a thread of its own."""
    from distributed import Security, rpc

    async def asked() -> dict[str, Any]:
        arguments = Security().get_connection_args("client")
        async with rpc(address, connection_args=arguments) as there:
            identity: dict[str, Any] = await there.identity()
            return identity

    return asyncio.run(asyncio.wait_for(asked(), CONNECT_LIMIT_S))


def _no_scheduler(address: str) -> OptionError:
    return OptionError(
        f"no Dask scheduler answers at '{address}': start one with 'dask scheduler', and give "
        "its address as it prints it."
    )


@contextmanager
def _without_logs() -> Iterator[None]:
    before = logging.root.manager.disable
    logging.disable()
    try:
        yield
    finally:
        logging.disable(before)
