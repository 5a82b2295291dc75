"""What can be heard while a run is made: a first guess, the chosen ones roughly, then in full."""

import threading
from types import SimpleNamespace

import pytest

from segue.desk import maker as room
from segue.desk.maker import Maker
from segue.desk.sketcher import RoughSound
from segue.errors import SegueError
from segue.job.request import Request
from segue.pages import filled
from tests.audition.wire import PATIENCE_S
from tests.workers.test_workers import until


def rough_of(name):
    return RoughSound(name=name, sound=name.encode(), exit_s=4.0, entry_s=9.0)


def rendered_of(name):
    record = SimpleNamespace(
        plan=SimpleNamespace(recipe=name),
        scorecard=SimpleNamespace(overall=0.5),
        exit_s=6.0,
        entry_s=11.0,
    )
    return SimpleNamespace(record=record, packed=(b"sound",))


@pytest.fixture(name="steps")
def _steps(monkeypatch):
    """Lets the steps of a run go on one by one."""
    steps = SimpleNamespace(choose=threading.Event(), render=threading.Event())
    recipes = tuple(SimpleNamespace(name=name) for name in ("build", "drone"))

    def make_segues(_request, *, progress, on_chosen, on_rendered, workers):
        progress("trying")
        assert steps.choose.wait(PATIENCE_S)
        on_chosen(recipes)
        assert steps.render.wait(PATIENCE_S)
        on_rendered(rendered_of("build"))
        raise SegueError("that is enough")

    monkeypatch.setattr(room, "make_segues", make_segues)
    return steps


def shown(maker, number):
    return filled("desk_making.html", {"making": maker.makings[number], "earlier": ()})


def test_each_is_heard_roughly_until_its_full_sound_is_there(steps, tmp_path):
    def rough(request):
        return rough_of(request.only[0] if request.only else "guess")

    maker = Maker(n_workers=1, tell=lambda: None, rough=rough)
    maker.start()
    try:
        number = maker.order(
            Request(outgoing=tmp_path, incoming=tmp_path, out=tmp_path), "run"
        ).number

        def names():
            return {one.name for one in maker.makings[number].roughs}

        until(lambda: names() == {"guess"})
        assert "a first guess" in shown(maker, number)
        steps.choose.set()
        until(lambda: names() == {"build", "drone"})
        page = shown(maker, number)
        assert "guess" not in page
        assert page.count('data-draft="roughs/') == 2
        steps.render.set()
        until(lambda: maker.makings[number].is_over)
        assert [draft.name for draft in maker.makings[number].drafts] == ["build"]
    finally:
        maker.close()


def test_a_guess_that_comes_too_late_is_not_shown(steps, tmp_path):
    late = threading.Event()

    def rough(request):
        if not request.only:
            assert late.wait(PATIENCE_S)
            return rough_of("guess")
        return rough_of(request.only[0])

    maker = Maker(n_workers=1, tell=lambda: None, rough=rough)
    maker.start()
    try:
        number = maker.order(
            Request(outgoing=tmp_path, incoming=tmp_path, out=tmp_path), "run"
        ).number
        steps.choose.set()
        until(lambda: len(maker.makings[number].roughs) == 2)
        late.set()
        until(lambda: not any(thread.name == "sketch" for thread in threading.enumerate()))
        assert {one.name for one in maker.makings[number].roughs} == {"build", "drone"}
    finally:
        steps.render.set()
        maker.close()
