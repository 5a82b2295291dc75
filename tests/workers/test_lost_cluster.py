"""A cluster that loses its scheduler or all of its workers in mid-run, or gets a wrong one."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from contextlib import ExitStack
from typing import TYPE_CHECKING

import pytest

from segue.errors import OptionError
from segue.workers import open_workers
from tests.catalogue.tiny_songs import write_song
from tests.workers import tasks
from tests.workers.a_cluster import started_cluster, started_worker
from tests.workers.test_workers import ROOT, until

if TYPE_CHECKING:
    from pathlib import Path

N_TASKS = 8


def test_without_any_worker_that_is_told_and_work_goes_on_when_one_comes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("segue.workers.cluster.LOOK_EVERY_S", 0.5)
    told: list[str] = []
    with started_cluster(tmp_path) as cluster, ExitStack() as later:
        # were nobody told, this would wait for ever
        guard = threading.Timer(120, os.kill, (cluster.scheduler_pid, signal.SIGKILL))
        guard.start()
        later.callback(guard.cancel)

        def tell(words: str) -> None:  # and start one, as a person would
            told.append(words)
            later.enter_context(started_worker(cluster.address, tmp_path))

        with open_workers(cluster=cluster.address, tell=tell) as workers:
            outcomes = workers.outcomes(tasks.marked, [tmp_path / f"{n}" for n in range(N_TASKS)])
            found = [next(outcomes)]
            assert told == []
            for pid in cluster.worker_pids:
                os.kill(pid, signal.SIGKILL)
            found += outcomes
    assert told == [
        f"the cluster has no worker: waiting for one ('dask worker {cluster.address}' starts it)."
    ]
    assert {o.index: o.result for o in found} == {n: f"{n}" for n in range(N_TASKS)}


def test_a_worker_that_comes_later_with_other_code_is_left_out_and_named(tmp_path: Path) -> None:
    inputs = [tmp_path / f"{n}" for n in range(60)]
    told: list[str] = []
    with (
        started_cluster(tmp_path, n_workers=1) as cluster,
        open_workers(
            cluster=cluster.address, digest=tasks.digest_said, tell=told.append
        ) as workers,
        started_worker(cluster.address, tmp_path, DIGEST="another"),
    ):
        found = list(workers.outcomes(tasks.marked, inputs))
        (ours,) = set(workers.client.nthreads()) - workers.left_out
        assert ours
    assert {o.index: o.result for o in found} == {n: f"{n}" for n in range(60)}
    (sentence,) = told
    assert re.fullmatch(
        r"worker tcp://\S+ has Segue \S+ too, but with other .*machines\. It is left out\.",
        sentence,
    )


def test_where_only_others_are_left_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("segue.workers.cluster.LOOK_EVERY_S", 0.5)
    inputs = [tmp_path / f"{n}" for n in range(60)]
    with (
        started_cluster(tmp_path, n_workers=1) as cluster,
        open_workers(cluster=cluster.address, digest=tasks.digest_said, tell=print) as workers,
        started_worker(cluster.address, tmp_path, DIGEST="another"),
    ):
        outcomes = workers.outcomes(tasks.marked, inputs)
        next(outcomes)
        until(lambda: len(workers.client.nthreads()) == 2)
        os.kill(cluster.worker_pids[0], signal.SIGKILL)
        with pytest.raises(OptionError, match=r"with other code|has no worker of this Segue left"):
            list(outcomes)


def test_a_scheduler_that_is_gone_is_told_at_once_and_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("segue.workers.connection.CONNECT_LIMIT_S", 2)
    with started_cluster(tmp_path) as cluster, open_workers(cluster=cluster.address) as workers:
        outcomes = workers.outcomes(tasks.marked, [tmp_path / f"{n}" for n in range(N_TASKS)])
        assert next(outcomes).problem is None
        os.kill(cluster.scheduler_pid, signal.SIGKILL)
        with pytest.raises(OptionError, match=f"the cluster at '{cluster.address}' is gone"):
            list(outcomes)
        until(lambda: workers.client.status == "closed")  # it has given up
        with pytest.raises(OptionError, match="is gone"):
            list(workers.outcomes(tasks.doubled, range(3)))


def test_the_command_tells_it_without_a_trace(tmp_path: Path) -> None:
    from distributed import Client

    songs = tmp_path / "songs"
    songs.mkdir()
    for n in range(30):
        write_song(songs / f"{n:02d}.wav", n)
    line = [sys.executable, "-m", "segue", "catalogue", str(songs), "--edge-seconds", "8"]
    line += ["--to", str(tmp_path / "to.sqlite"), "--quiet"]
    with started_cluster(tmp_path) as cluster:
        with Client(cluster.address, set_as_default=False) as client:
            pids = client.run(os.getpid)
            command = subprocess.Popen(
                [*line, "--cluster", cluster.address],
                cwd=ROOT,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
            until(lambda: all(client.processing().get(worker) for worker in pids))
        os.kill(cluster.scheduler_pid, signal.SIGKILL)
        with command:
            said, complained = command.communicate(timeout=300)
    assert command.returncode == 2
    assert said == ""
    (sentence,) = complained.splitlines()
    assert sentence.startswith(f"segue: the cluster at '{cluster.address}' is gone: ")
