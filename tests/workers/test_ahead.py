"""Processes that load while their parent reads: their answers, and how they end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.workers.test_workers import check_interrupted, started, until

ROOT = Path(__file__).parents[2]
BEGUN = (
    "import os, sys; from pathlib import Path\n"
    "from segue.workers.ahead import begin_ahead, taken_ahead\n"
    "begin_ahead('segue.errors', 'tests.workers.tasks')\n"
    "ahead = taken_ahead()\n"
    "from tests.workers import tasks\n"
)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="nothing is forked ahead elsewhere")


def said(script: str, *words: object) -> str:
    command = [sys.executable, "-c", BEGUN + script, *map(str, words)]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True, timeout=60)
    assert run.stderr == ""
    return run.stdout


def test_it_does_what_it_is_given_in_its_own_process_with_faults_as_words():
    told = said(
        "print([(o.index, o.result, o.problem) for o in ahead.outcomes(tasks.doubled, [1, 13])])\n"
        "print([o.result == os.getpid() for o in ahead.outcomes(tasks.process_id, [0])])\n"
    )
    assert told.splitlines() == [
        "[(0, 2, None), (1, None, 'thirteen: is unlucky: leave it out.')]",
        "[False]",
    ]


def test_it_is_taken_once():
    assert said("print(taken_ahead())") == "None\n"


def test_where_it_is_lost_its_task_is_done_again_in_another():
    told = said(
        "import signal\n"
        "child = next(o.result for o in ahead.outcomes(tasks.process_id, [0]))\n"
        "os.kill(child, signal.SIGKILL)\n"
        "others = [o.result for o in ahead.outcomes(tasks.process_id, [0, 1])]\n"
        "print(len(others), {child, os.getpid()}.isdisjoint(others))\n"
    )
    assert told == "2 True\n"


def test_more_are_forked_from_the_first_and_share_the_work(tmp_path: Path):
    told = said(
        "with ahead.grown_to(3):\n"
        "    pids = {o.result for o in ahead.outcomes(tasks.process_id, range(9))}\n"
        "    print(len(pids), os.getpid() in pids, ahead.n_workers)\n"
        "    doubled = sorted(ahead.outcomes(tasks.doubled, range(20)), key=lambda o: o.index)\n"
        "    print([o.result for o in doubled if o.index != 13], doubled[13].problem)\n"
        "print([Path('/proc', str(pid)).exists() for pid in pids])\n"
    )
    assert told.splitlines() == [
        "3 False 3",
        f"{[2 * i for i in range(20) if i != 13]} thirteen: is unlucky: leave it out.",
        "[False, False, False]",
    ]


def test_one_of_several_killed_in_mid_task_costs_a_retry_and_nothing_else(tmp_path: Path):
    told = said(
        'marks = [Path(sys.argv[1], f\'{"kill" if i % 4 == 1 else "live"} {i}\')\n'
        "    for i in range(8)]\n"
        "with ahead.grown_to(2):\n"
        "    done = sorted(ahead.outcomes(tasks.killed_once, marks), key=lambda o: o.index)\n"
        "print([o.result == mark.name for o, mark in zip(done, marks)])\n",
        tmp_path,
    )
    assert told == f"{[True] * 8}\n"


def test_a_fault_of_a_task_is_raised_here():
    told = said(
        "try:\n"
        "    list(ahead.grown_to(2).outcomes(len, [[], 1, []]))\n"
        "except TypeError as error:\n"
        "    print(error, 'ahead.py' in error.__notes__[0])\n"
    )
    assert told == "object of type 'int' has no len() True\n"


@pytest.mark.parametrize("task", ["napping", "napping_after_a_destructor"])
@pytest.mark.parametrize("whom", ["the parent", "all"])
def test_an_interrupt_ends_all_at_once_and_cleans_up(tmp_path: Path, whom: str, task: str):
    script = (
        "with ahead.grown_to(2):\n"
        f"    list(ahead.outcomes(tasks.{task}, [Path(sys.argv[1])] * 6))\n"
    )
    check_interrupted(BEGUN + script, tmp_path, whom)


@pytest.mark.parametrize("after_s", [0.0, 0.2, 0.6, 1.2])
def test_an_interrupt_while_they_load_is_quiet(tmp_path: Path, after_s: float):
    script = (
        "begin_ahead('segue.job.steps')\n"
        "print('ready', flush=True)\n"
        "try:\n"
        "    with taken_ahead().grown_to(2) as hands:\n"
        "        list(hands.outcomes(tasks.napping, [Path(sys.argv[1])] * 6))\n"
        "except KeyboardInterrupt:\n"
        "    os._exit(3)\n"
    )
    run = started(BEGUN + script, tmp_path)
    assert run.stdout is not None
    run.stdout.readline()
    time.sleep(after_s)
    os.killpg(run.pid, signal.SIGINT)
    _, printed = run.communicate(timeout=60)
    assert (run.returncode, printed) == (3, b"")
    assert list(tmp_path.iterdir()) == []


def test_they_do_not_outlive_a_killed_parent(tmp_path: Path):
    script = "list(ahead.grown_to(2).outcomes(tasks.napping, [Path(sys.argv[1])] * 6))\n"
    run = started(BEGUN + script, tmp_path)
    until(lambda: len(list(tmp_path.iterdir())) == 2)
    pids = [int(mark.name) for mark in tmp_path.iterdir()]
    run.kill()
    run.communicate(timeout=30)
    until(lambda: all(is_gone(pid) for pid in pids))


def test_nothing_is_begun_beside_a_second_thread():
    script = (
        "import threading\n"
        "from segue.workers.ahead import begin_ahead, taken_ahead\n"
        "threading.Thread(target=threading.Event().wait, daemon=True).start()\n"
        "begin_ahead()\n"
        "print(taken_ahead())\n"
    )
    assert said(script) == "None\n"


@pytest.mark.parametrize("ending", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_it_ends_with_its_parent(tmp_path: Path, ending: str):
    script = (
        "Path(sys.argv[1], 'child').write_text(\n"
        "    str(next(o.result for o in ahead.outcomes(tasks.process_id, [0]))))\n"
        "Path(sys.argv[1], 'ready').touch()\n"
        "import time; time.sleep(60)\n"
    )
    run = subprocess.Popen([sys.executable, "-c", BEGUN + script, str(tmp_path)], cwd=ROOT)
    until((tmp_path / "ready").exists)
    child = int((tmp_path / "child").read_text())
    run.send_signal(getattr(signal, ending))
    run.wait(timeout=30)
    until(lambda: is_gone(child))


def is_gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    # one whose parent has gone may wait for the system to take note of it
    return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
