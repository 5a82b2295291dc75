"""A real scheduler and two worker processes on this machine, one of which is killed."""

from __future__ import annotations

import asyncio
import json
import os
import signal
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest

from segue.errors import OptionError
from segue.workers import open_workers
from tests.workers import tasks
from tests.workers.a_cluster import started_cluster
from tests.workers.test_workers import until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.workers.a_cluster import Started


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Started]:
    with started_cluster(tmp_path_factory.mktemp("cluster")) as started:
        yield started


def test_every_input_has_one_outcome_and_faults_are_their_sentence(cluster: Started) -> None:
    with open_workers(cluster=cluster.address) as workers:
        assert workers.n_workers == 2
        outcomes = sorted(workers.outcomes(tasks.doubled, range(20)), key=lambda o: o.index)
    assert [o.result for o in outcomes if o.index != 13] == [2 * i for i in range(20) if i != 13]
    assert outcomes[13].problem == "thirteen: is unlucky: leave it out."


def test_files_travel_as_bytes_and_what_is_written_comes_back(
    cluster: Started, tmp_path: Path
) -> None:
    for n in range(3):
        (tmp_path / f"song {n}").mkdir()
        (tmp_path / f"song {n}" / "drums ü.txt").write_text(f"boom {n}")
    inputs = [
        tasks.Copying(source=tmp_path / f"song {n}", out=tmp_path / "outs" / f"{n}")
        for n in range(3)
    ]
    with open_workers(cluster=cluster.address, travel="bytes") as workers:
        outcomes = sorted(workers.outcomes(tasks.copied, inputs), key=lambda o: o.index)
    for n, outcome in enumerate(outcomes):
        assert outcome.result.source == inputs[n].source
        assert str(inputs[n].source) not in outcome.result.worker_saw
        assert (inputs[n].out / "copy.txt").read_text() == f"boom {n}"
        said = json.loads((inputs[n].out / "said.json").read_text())
        assert said == {"source": str(inputs[n].source)}


def test_what_a_task_takes_away_is_gone_here_too(cluster: Started, tmp_path: Path) -> None:
    outs = [tmp_path / f"{n}" for n in range(3)]
    for out in outs:
        out.mkdir()
        (out / "old.txt").write_text("of the run before")
        (out / "kept.txt").write_text("still right")
    with open_workers(cluster=cluster.address, travel="bytes") as workers:
        assert all(o.problem is None for o in workers.outcomes(tasks.renewed, outs))
    for out in outs:
        assert {path.name: path.read_text() for path in out.iterdir()} == {
            "new.txt": "of this run",
            "kept.txt": "still right",
        }


def test_a_worker_killed_in_mid_task_costs_a_retry_and_nothing_else(
    cluster: Started, tmp_path: Path
) -> None:
    with open_workers(cluster=cluster.address) as workers:
        outcomes = workers.outcomes(tasks.marked, [tmp_path / f"{n}" for n in range(8)])
        until_two = iter(outcomes)
        first = next(until_two)
        until(lambda: any(_is_in_work(tmp_path, pid) for pid in cluster.worker_pids))
        victim = next(pid for pid in cluster.worker_pids if _is_in_work(tmp_path, pid))
        os.kill(victim, signal.SIGKILL)
        rest = list(until_two)
    assert sorted(o.index for o in (first, *rest)) == list(range(8))
    assert all(o.problem is None for o in (first, *rest))
    by_index = {o.index: o.result for o in (first, *rest)}
    assert by_index == {n: f"{n}" for n in range(8)}


def _is_in_work(folder: Path, pid: int) -> bool:
    return any(mark.name.endswith(f".{pid}") for mark in folder.iterdir())


@pytest.mark.parametrize(
    ("digest", "told"),
    [
        (tasks.another_on_workers, r"worker tcp://\S+ has Segue \S+ too, but with other code or"),
        (tasks.fails_on_workers, r"worker tcp://\S+ could not be asked .*No module named 'numba'"),
    ],
)
def test_a_worker_with_other_code_or_libraries_is_refused_by_name(
    cluster: Started, digest: Callable[[], str], told: str
) -> None:
    with (
        pytest.raises(OptionError, match=told),
        open_workers(cluster=cluster.address, digest=digest),
    ):
        pass


def test_a_worker_with_another_version_is_refused_by_name(
    cluster: Started, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("segue.workers.connection.__version__", "0.0.9")
    with (
        pytest.raises(OptionError, match=r"worker tcp://\S+ has Segue \S+, and this is 0\.0\.9:"),
        open_workers(cluster=cluster.address),
    ):
        pass


def test_the_address_of_a_worker_is_not_taken_for_a_schedulers(cluster: Started) -> None:
    from distributed import Client

    with Client(cluster.address, set_as_default=False) as client:
        (worker, *_) = client.nthreads()
    with (
        pytest.raises(OptionError, match="no Dask scheduler answers"),
        open_workers(cluster=worker),
    ):
        pass


def test_a_loop_that_runs_in_the_callers_thread_is_no_hindrance(cluster: Started) -> None:
    async def opened() -> int:
        with open_workers(cluster=cluster.address) as workers:
            return workers.n_workers

    with ThreadPoolExecutor(1) as thread:  # this one's may run a loop of another test's
        assert thread.submit(lambda: asyncio.run(opened())).result() > 0
