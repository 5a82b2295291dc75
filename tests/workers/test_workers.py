"""Tasks done side by side: order does not matter, faults are words, lost processes cost a retry."""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from segue.errors import OptionError
from segue.workers import make_ready, open_workers
from segue.workers.processes import Processes
from tests.workers import tasks

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("n_processes", [1, 2])
def test_every_input_has_one_outcome_and_faults_are_their_sentence(n_processes: int) -> None:
    with open_workers(n_processes=n_processes) as workers:
        outcomes = sorted(workers.outcomes(tasks.doubled, range(20)), key=lambda o: o.index)
    assert [o.index for o in outcomes] == list(range(20))
    assert [o.result for o in outcomes if o.index != 13] == [2 * i for i in range(20) if i != 13]
    assert outcomes[13].result is None
    assert outcomes[13].problem == "thirteen: is unlucky: leave it out."


def test_inputs_are_taken_as_workers_become_free() -> None:
    taken: list[int] = []

    def inputs():
        for i in range(30):
            taken.append(i)
            yield i

    with open_workers(n_processes=2) as workers:
        outcomes = workers.outcomes(tasks.doubled, inputs())
        next(outcomes)
        assert len(taken) < 10
        outcomes.close()


def test_who_leaves_at_once_interrupts_nobody_else() -> None:
    with Processes(1) as others, Processes(1) as left:
        assert [o.result for o in others.outcomes(tasks.doubled, [1])] == [2]
        asked = left.outcomes(tasks.doubled, range(9))
        next(asked)
        asked.close()
        (after,) = others.outcomes(tasks.doubled, [2])
    assert (after.result, after.problem) == (4, None)


def test_two_processes_share_the_work() -> None:
    with open_workers(n_processes=2) as workers:
        pids = {o.result for o in workers.outcomes(tasks.process_id, range(12))}
    assert len(pids) == 2
    assert os.getpid() not in pids


def test_a_process_killed_in_mid_task_costs_a_retry_and_nothing_else(tmp_path: Path) -> None:
    marks = [tmp_path / f"{'kill' if i % 4 == 1 else 'let live'} {i}" for i in range(8)]
    with open_workers(n_processes=2) as workers:
        outcomes = sorted(workers.outcomes(tasks.killed_once, marks), key=lambda o: o.index)
    assert [o.result for o in outcomes] == [mark.name for mark in marks]
    assert [o.problem for o in outcomes] == [None] * 8


def test_a_task_that_always_kills_its_process_is_told_and_the_others_finish() -> None:
    with open_workers(n_processes=2) as workers:
        outcomes = sorted(workers.outcomes(tasks.always_killed, range(6)), key=lambda o: o.index)
    assert [o.result for o in outcomes] == [0, 1, None, 3, 4, 5]
    assert "was stopped 3 times" in (outcomes[2].problem or "")


def test_processes_have_the_environment_of_now_and_one_thread_each(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    threads = os.environ.get("OMP_NUM_THREADS")
    for value in ("before", "after"):  # a server of processes would remember the first
        monkeypatch.setenv("SEGUE_CACHE", value)
        with open_workers(n_processes=2) as workers:
            found = {o.result for o in workers.outcomes(tasks.environment, range(4))}
        assert found == {(value, "1")}
    assert os.environ.get("OMP_NUM_THREADS") == threads


def test_loading_ahead_does_no_harm_and_fails_quietly() -> None:
    make_ready(1, "segue.errors")
    make_ready(2, "segue.errors", "segue.no_such_module")
    with open_workers(n_processes=2) as workers:
        assert sorted(o.result or 0 for o in workers.outcomes(tasks.doubled, range(3))) == [0, 2, 4]


def started(script: str, folder: Path) -> subprocess.Popen[bytes]:
    """A script in a group of processes of its own, that can be interrupted as one."""
    return subprocess.Popen(
        [sys.executable, "-c", script, str(folder)],
        cwd=ROOT,
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def check_interrupted(script: str, folder: Path, whom: str) -> None:
    """Interrupt two processes whose tasks have begun, or their parent: all end, and clean up."""
    run = started(script, folder)
    until(lambda: len(list(folder.iterdir())) == 2)
    (os.killpg if whom == "all" else os.kill)(run.pid, signal.SIGINT)
    _, printed = run.communicate(timeout=30)
    assert run.returncode != 0
    assert printed.count(b"Traceback") <= 1  # the parent's own; worker processes are quiet
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("task", ["napping", "napping_after_a_destructor"])
@pytest.mark.parametrize("whom", ["the parent", "all"])
def test_an_interrupt_ends_all_at_once_and_cleans_up(tmp_path: Path, whom: str, task: str) -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from segue.workers import open_workers\n"
        "from tests.workers import tasks\n"
        "if __name__ == '__main__':\n"
        "    with open_workers(n_processes=2) as workers:\n"
        f"        list(workers.outcomes(tasks.{task}, [Path(sys.argv[1])] * 6))\n"
    )
    check_interrupted(script, tmp_path, whom)


def test_a_closed_terminal_leaves_the_processes_to_their_parent(tmp_path: Path) -> None:
    script = (
        "import signal, sys; from pathlib import Path\n"
        "from segue.workers import open_workers\n"
        "from tests.workers import tasks\n"
        "def closed(*_): raise KeyboardInterrupt\n"
        "if __name__ == '__main__':\n"
        "    signal.signal(signal.SIGHUP, closed)\n"
        "    with open_workers(n_processes=2) as workers:\n"
        "        list(workers.outcomes(tasks.napping, [Path(sys.argv[1])] * 6))\n"
    )
    run = started(script, tmp_path)
    until(lambda: len(list(tmp_path.iterdir())) == 2)
    os.killpg(run.pid, signal.SIGHUP)
    _, printed = run.communicate(timeout=30)
    assert run.returncode != 0
    assert printed.count(b"Traceback") <= 1  # the parent's own
    assert b"resource_tracker" not in printed
    assert list(tmp_path.iterdir()) == []


def test_only_the_server_of_processes_ignores_an_interrupt() -> None:
    import segue.workers.quiet

    before = signal.getsignal(signal.SIGINT)
    importlib.reload(segue.workers.quiet)
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.parametrize("after_s", [0.0, 0.2, 0.6, 1.2])
def test_an_interrupt_while_processes_load_is_quiet(tmp_path: Path, after_s: float) -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from segue.workers import make_ready, open_workers\n"
        "from tests.workers import tasks\n"
        "try:\n"
        "    make_ready(2, 'segue.job.steps')\n"
        "    print('ready', flush=True)\n"
        "    with open_workers(n_processes=2) as workers:\n"
        "        list(workers.outcomes(tasks.napping, [Path(sys.argv[1])] * 6))\n"
        "except KeyboardInterrupt:\n"
        "    sys.exit(3)\n"
    )
    run = started(script, tmp_path)
    assert run.stdout is not None
    run.stdout.readline()
    time.sleep(after_s)
    os.killpg(run.pid, signal.SIGINT)
    _, printed = run.communicate(timeout=60)
    assert run.returncode == 3
    assert printed == b""
    assert list(tmp_path.iterdir()) == []


def test_processes_do_not_outlive_a_killed_parent(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from segue.workers import open_workers\n"
        "from tests.workers import tasks\n"
        "with open_workers(n_processes=2) as workers:\n"
        "    list(workers.outcomes(tasks.napping, [Path(sys.argv[1])] * 6))\n"
    )
    run = subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], cwd=ROOT)
    until(lambda: len(list(tmp_path.iterdir())) == 2)
    pids = [int(mark.name) for mark in tmp_path.iterdir()]
    run.kill()
    run.wait()
    until(lambda: not any(_is_alive(pid) for pid in pids))


def test_no_workers_and_no_cluster_are_told() -> None:
    with pytest.raises(OptionError, match="give 1 or more"), open_workers(n_processes=0):
        pass


def until(is_so, limit_s: float = 60.0) -> None:
    end = time.monotonic() + limit_s
    while not is_so():
        assert time.monotonic() < end, "it never came to that"
        time.sleep(0.02)


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # a dead child whom nobody has waited for is still listed
    return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
