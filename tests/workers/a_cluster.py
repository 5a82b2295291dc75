"""A real scheduler and worker processes on this machine."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tests.workers.test_workers import ROOT, until

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@dataclass(frozen=True)
class Started:
    address: str
    scheduler_pid: int
    worker_pids: tuple[int, ...]


@contextmanager
def started_cluster(folder: Path, n_workers: int = 2) -> Iterator[Started]:
    """A scheduler and workers, as `dask scheduler` and `dask worker` start them."""
    facts = folder / "scheduler.json"
    line = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    line += ["--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    with ExitStack() as started:
        scheduler = started.enter_context(_process([*line, "--scheduler-file", str(facts)], folder))
        until(lambda: facts.exists() and facts.read_text().endswith("}"))
        address = json.loads(facts.read_text())["address"]
        workers = [started.enter_context(started_worker(address, folder)) for _ in range(n_workers)]
        _wait_for_workers(address, n_workers)
        yield Started(address, scheduler.pid, tuple(worker.pid for worker in workers))


@contextmanager
def started_worker(
    address: str, folder: Path, **environment: str
) -> Iterator[subprocess.Popen[bytes]]:
    line = [sys.executable, "-m", "distributed.cli.dask_worker", address]
    line += ["--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    with _process(line, folder, ON_A_WORKER="yes", **environment) as process:
        yield process


@contextmanager
def _process(
    line: list[str], folder: Path, **environment: str
) -> Iterator[subprocess.Popen[bytes]]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder), **environment}
    process = subprocess.Popen(line, cwd=folder, env=environment, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def _wait_for_workers(address: str, n_workers: int) -> None:
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(n_workers, timeout=60)
