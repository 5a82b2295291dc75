"""The options that say who does the work: processes of this machine, or a cluster."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from segue.errors import OptionError

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from segue.workers import Travel, Workers

MOST_WORKERS = 64  # processes at once; more are a slip
WorkersN = Annotated[
    int | None, typer.Option("--workers", help="Processes of this machine; one a core if not said.")
]
Cluster = Annotated[
    str | None,
    typer.Option(help="Work on a Dask cluster: its scheduler, such as 'tcp://10.0.0.5:8786'."),
]
ClusterFiles = Annotated[
    Literal["path", "bytes"] | None,
    typer.Option(
        "--cluster-files",
        help="How files get there: by a 'path' that all machines share, or by their 'bytes'.",
    ),
]


def open_hands(
    workers: int | None, cluster: str | None, files: Travel | None, loads: tuple[str, ...]
) -> AbstractContextManager[Workers]:
    """Workers as the options ask for them, for a `with` block.

    Parameters
    ----------
    loads : tuple of str
        Modules that processes of this machine begin to load at once.

    Raises
    ------
    OptionError
        If they do not go together, the number is out of range, or the address is none.
    """
    if cluster is None and files is not None:
        raise OptionError("--cluster-files goes with --cluster: give the scheduler's address too.")
    if cluster is not None and workers is not None:
        raise OptionError(
            "--workers counts processes of this machine, and a cluster has its own: leave out "
            "--workers or --cluster."
        )
    if workers is not None and not 1 <= workers <= MOST_WORKERS:
        raise OptionError(f"--workers {workers} is outside 1 to {MOST_WORKERS}: keep within.")
    from segue.workers import make_ready, n_cores, one_heap, open_workers

    one_heap()
    if cluster is None:
        make_ready(workers or n_cores(), *loads)
        return open_workers(n_processes=workers)
    from segue.workers.connection import check_address

    check_address(cluster)
    from segue.setlist.joins import maker_digest

    return open_workers(cluster=cluster, travel=files or "path", digest=maker_digest, tell=_tell)


def _tell(words: str) -> None:
    """On the error stream, even where progress is not wanted: the command seems to hang else."""
    print(f"segue: {words}", file=sys.stderr)
