"""A closed terminal, and being asked to end, clean up as Ctrl-C does."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SONGS = ("demo_audio/01 Copper Wire Morning", "demo_audio/02 Low Tide Telegraph")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_run_that_is_asked_to_end_leaves_nothing(tmp_path, number):
    if signal.getsignal(number) is signal.SIG_IGN:
        pytest.skip("ignored where these tests run, as by nohup, and then by what they start, too")
    out, temporary = tmp_path / "runs" / "run", tmp_path / "temporary"
    out.parent.mkdir()
    temporary.mkdir()
    run = subprocess.Popen(
        (sys.executable, "-m", "segue", "between", *SONGS, "--out", str(out)),
        cwd=ROOT,
        env=os.environ | {"TMPDIR": str(temporary), "XDG_CACHE_HOME": str(tmp_path / "cache")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    wait_until(lambda: any(out.parent.glob(".segue-*-new*/*")), run)
    # a terminal tells all of its processes; who asks to end, asks the one it knows
    (os.kill if number == signal.SIGTERM else os.killpg)(run.pid, number)
    _, said = run.communicate(timeout=120)
    assert run.returncode == 130, said
    assert said.strip() == (
        "segue: interrupted; no file was left half-written, so just run it again."
    )
    assert list(out.parent.iterdir()) == []
    assert list(temporary.iterdir()) == []


def wait_until(is_so, run):
    while not is_so():
        assert run.poll() is None, run.communicate()
        time.sleep(0.02)
