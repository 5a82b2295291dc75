"""Versions are made in a process beside the server, told step by step, and end in one sentence."""

import threading
from types import SimpleNamespace

import pytest

from segue.desk import version_maker as room
from segue.desk.version_maker import MOST_WAITING, VersionMaker
from segue.errors import SegueError
from segue.job.changes import Changes
from segue.job.version import VersionOrder
from segue.pages import filled
from segue.workers import Outcome
from tests.audition.wire import PATIENCE_S


def order(tmp_path, option="1"):
    return VersionOrder(run=tmp_path, option=option, changes=Changes(n_bars=4))


@pytest.fixture(name="steps")
def _steps(monkeypatch):
    """What the process does, held up until it is let go."""
    steps = SimpleNamespace(go=threading.Event(), tasks=[], problem=None)

    class Process:
        def __init__(self, _n):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def outcomes(self, task, _inputs):
            steps.tasks.append(task.__name__)
            assert steps.go.wait(PATIENCE_S)
            if isinstance(steps.problem, Exception):
                raise steps.problem
            yield Outcome(
                index=0,
                result=None if steps.problem else SimpleNamespace(label="1b"),
                problem=steps.problem,
            )

    monkeypatch.setattr(room, "Processes", Process)
    return steps


@pytest.fixture(name="maker")
def _maker(steps):
    steps.told = threading.Event()
    maker = VersionMaker(tell=steps.told.set)
    maker.start()
    yield maker
    steps.go.set()
    maker.close()


def test_it_is_told_what_is_done_and_then_what_it_is_called(maker, steps, tmp_path):
    made = maker.order(order(tmp_path), "run")
    assert steps.told.wait(PATIENCE_S)
    (progress,) = maker.under_way("run")
    page = filled("desk_versions.html", {"under_way": (progress,)})
    assert "A version of 1:" in page
    assert maker.under_way("another run") == ()
    steps.go.set()
    assert made.result(PATIENCE_S) == "1b"
    assert len(steps.tasks) == progress.n_steps
    assert maker.under_way("run") == ()


@pytest.mark.parametrize("problem", ["the song is gone.", RuntimeError("unforeseen")], ids=str)
def test_what_goes_wrong_is_told_and_the_next_one_is_made(maker, steps, tmp_path, problem):
    steps.problem = problem
    first = maker.order(order(tmp_path), "run")
    steps.go.set()
    with pytest.raises(SegueError, match=r"the song is gone|This went wrong here"):
        first.result(PATIENCE_S)
    steps.problem = None
    assert maker.order(order(tmp_path), "run").result(PATIENCE_S) == "1b"


def test_a_finger_that_got_stuck_is_told(maker, tmp_path):
    made = [maker.order(order(tmp_path), "run") for _ in range(MOST_WAITING + 1)]
    assert made[-1] is None
    assert None not in made[:-1]


def test_who_waits_when_the_desk_closes_is_told(maker, tmp_path):
    made = [maker.order(order(tmp_path), "run") for _ in range(2)]
    maker.close()
    for one in made:
        with pytest.raises(SegueError, match="closing"):
            one.result(PATIENCE_S)
    assert maker.order(order(tmp_path), "run") is None
