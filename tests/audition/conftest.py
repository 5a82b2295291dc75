"""A small run folder of seeded noise, and a real browser to open its page in.

Noise, because every stretch of it is like no other: where the browser is in
the music can be read off what it plays by correlation.
"""

import shutil
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from segue.audition import write_page
from segue.plan import plan_segue
from segue.runfolder import RunDocument
from segue.score.scorecard import CurveSample
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import card_of, measure_of
from tests.runfolder.records import record_of as rendered

RATE_HZ = 48_000
RECIPES = ("filtered tail", "stop and count-in", "tempo ramp")
TROUBLES = ("error", "warning")


def measure(name, score, worst_beat=None):
    finding = f"The finding on {name}."
    return measure_of(name, score=score, sentence=finding, worst_beat=worst_beat)


def record_of(plan, rank):
    curve = tuple(CurveSample(time_s=t, value=0.5) for t in np.arange(0.0, plan.duration_s, 0.25))
    card = card_of(
        0.65,
        measure("level step", 0.4, plan.exit_beat + 1),
        measure("cadence", 0.9, 0.0),
        loudness_lufs=tuple(replace(sample, value=-16.0) for sample in curve),
        key_distance_from=curve,
        key_distance_to=curve,
        tempo_bpm=tuple(replace(sample, value=230.0) for sample in curve),
    )
    singer_s = plan.seconds_at(plan.singer_beat)
    return rendered(plan, rank, scorecard=card, singer_s=singer_s)


@pytest.fixture(scope="session", name="document")
def _document(shelf):
    old = end_facts(bpm=240.0, n_bars=8)
    new = start_facts(bpm=216.0, n_bars=8, first_note_s=3.0)
    plans = [plan_segue(shelf[name], old, new) for name in RECIPES]
    return RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=RATE_HZ,
        outgoing=old,
        incoming=new,
        candidates=tuple(record_of(plan, rank) for rank, plan in enumerate(plans, start=1)),
    )


@pytest.fixture(scope="session", name="folder")
def _folder(document, tmp_path_factory):
    """The run folder with its page."""
    folder = tmp_path_factory.mktemp("audition")
    for record in document.candidates:
        n_frames = round(record.plan.duration_s * RATE_HZ)
        rng = np.random.default_rng(record.rank)
        noise = np.clip(0.15 * rng.standard_normal(n_frames), -0.9, 0.9)
        soundfile.write(folder / record.music_file, noise, RATE_HZ, subtype="PCM_24")
        for side in (record.click_file, record.cue_file):
            soundfile.write(folder / side, 0.1 * noise, RATE_HZ, subtype="PCM_24")
    write_page(folder, document)
    return folder


@pytest.fixture(name="open_page")
def _open_page(browser, folder, watched):
    """A function that opens the page; what it logs and requests is kept on it."""
    contexts = []

    def open_page(
        *,
        width=1280,
        height=900,
        script=None,
        path=None,
        touch=False,
        bypass_csp=False,
        scheme=None,
    ):
        context = browser.new_context(
            viewport={"width": width, "height": height},
            has_touch=touch,
            bypass_csp=bypass_csp,
            color_scheme=scheme,
        )
        contexts.append(context)
        page = watched(context)
        if script:
            page.add_init_script(script)
        page.goto((path or folder / "audition.html").as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="session", name="served")
def _served(folder, document, tmp_path_factory):
    """An open page and a blind one, each with the files that a server gives out for it."""
    from segue.audition.page import PageView
    from segue.audition.sound import served_files

    views = {}
    for is_blind in (False, True):
        view = PageView(document=document, records=document.candidates, is_blind=is_blind)
        sounds = tmp_path_factory.mktemp("sounds")
        views[is_blind] = (view, served_files(folder, view, sounds))
    return views


@pytest.fixture(name="run")
def _run(folder, document, tmp_path):
    """A run folder of its own with a document."""
    from segue.runfolder import document_text

    run = tmp_path / "run"
    run.mkdir()
    for record in document.candidates:
        for name in (record.music_file, record.click_file, record.cue_file):
            shutil.copy(folder / name, run / name)
    (run / "segue.json").write_text(document_text(document), encoding="utf-8")
    return run


@pytest.fixture(name="serve")
def _serve(run, served):
    """A function that starts a server on the run; all are stopped at the end."""
    from contextlib import ExitStack

    from tests.audition.wire import running

    with ExitStack() as stack:

        def serve(*, is_blind=False, **more):
            view, files = served[is_blind]
            return stack.enter_context(running(run, view, files, **more))

        yield serve
