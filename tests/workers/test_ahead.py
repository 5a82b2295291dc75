"""A process that loads while its parent reads: its answers, and how it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

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


def test_where_it_is_lost_its_parent_does_the_task():
    told = said(
        "import signal\n"
        "child = next(o.result for o in ahead.outcomes(tasks.process_id, [0]))\n"
        "os.kill(child, signal.SIGKILL)\n"
        "print([o.result == os.getpid() for o in ahead.outcomes(tasks.process_id, [0])])\n"
    )
    assert told == "[True]\n"


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


def until(holds, timeout_s: float = 30.0) -> None:
    end = time.monotonic() + timeout_s
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.02)
