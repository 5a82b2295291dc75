"""A real scheduler and two worker processes on this machine."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tests.workers.test_workers import ROOT, until

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@dataclass(frozen=True)
class Started:
    address: str
    worker_pids: tuple[int, ...]


@contextmanager
def started_cluster(folder: Path) -> Iterator[Started]:
    """A scheduler and two workers, as `dask scheduler` and `dask worker` start them."""
    facts = folder / "scheduler.json"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder)}
    common = {"cwd": folder, "env": environment, "stderr": subprocess.DEVNULL}
    line = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    line += ["--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    scheduler = subprocess.Popen([*line, "--scheduler-file", str(facts)], **common)
    until(lambda: facts.exists() and facts.read_text().endswith("}"))
    address = json.loads(facts.read_text())["address"]
    line = [sys.executable, "-m", "distributed.cli.dask_worker", address]
    line += ["--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    workers = [subprocess.Popen(line, **common) for _ in range(2)]
    try:
        _wait_for_workers(address, 2)
        yield Started(address, tuple(worker.pid for worker in workers))
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def _wait_for_workers(address: str, n_workers: int) -> None:
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(n_workers, timeout=60)
