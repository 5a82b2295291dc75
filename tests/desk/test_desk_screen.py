"""In a real browser, on a wide screen and on a phone: songs picked, put right, heard and chosen."""

import pytest

from segue.runfolder import read_document
from tests.audition.tape import until
from tests.desk.conftest import SONGS, TOKEN

SIZES = {"wide": (1280, 900), "phone": (360, 740)}


@pytest.fixture(name="visit")
def _visit(browser, desk, watched):
    contexts = []

    def visit(query="", *, size="wide", scheme="light"):
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme
        )
        contexts.append(context)
        page = watched(context)
        page.goto(f"http://127.0.0.1:{desk[0]}/{TOKEN}/{query}")
        return page

    yield visit
    for context in contexts:
        context.close()


def pick(page):
    page.click('[aria-label="Copper Wire Morning as the old song"]')
    page.click('[aria-label="Low Tide Telegraph as the new song"]')
    until(page, "document.querySelectorAll('#ends script.values').length === 2")


def faults(page):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    context = page.context
    assert context is not None
    return [v["id"] for v in axe.run(page).response["violations"]]


@pytest.mark.parametrize("size", SIZES)
def test_a_journey_by_keyboard(visit, run_name, songs, size):
    page = visit(size=size)
    pick(page)
    marker = page.locator("#strip-end .marker")
    marker.focus()
    before = marker.get_attribute("aria-valuetext")
    page.keyboard.press("ArrowLeft")
    assert marker.get_attribute("aria-valuetext") != before
    assert "as Segue would" not in page.inner_text("#place-end")
    page.locator("#strip-end .cursor").focus()
    page.keyboard.press("Enter")
    until(page, "document.getElementById('playing').textContent.includes('Copper Wire')")
    page.keyboard.press("Escape")
    assert page.inner_text("#playing") == "Nothing is playing."
    page.click(f'#options [data-run="{run_name}"]')
    until(page, "document.getElementById('run-values') !== null")
    page.fill("#why", "she finds her note")
    page.click('[data-choose="1"]')
    until(page, "document.querySelector('.chosen') !== null")
    assert read_document(songs / run_name).choice.why == "she finds her note"
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    assert page.troubles == []
    assert all(url.startswith("http://127.0.0.1:") for url in page.requests)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_it(visit, run_name, scheme):
    page = visit(f"?run={run_name}", scheme=scheme)
    pick(page)
    page.click(f'#options [data-run="{run_name}"]')
    until(page, "document.getElementById('run-values') !== null")
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert faults(page) == []


def test_a_key_is_put_right_and_counts_for_the_commands(visit, songs):
    page = visit()
    pick(page)
    page.click("#end-start summary")
    page.select_option('#end-start [data-say="key"]', "D major")
    until(page, "document.querySelector('#end-start .heard').textContent.includes('D major')")
    assert 'key = "D major"' in (songs / SONGS[1] / "song.toml").read_text()
    page.click('#end-start [data-do="forget"]')
    until(page, "!document.querySelector('#end-start .heard').textContent.includes('D major')")
    assert page.troubles == []


def test_an_option_is_shaped_and_the_version_taken_back(visit, run_name, songs):
    page = visit(f"?run={run_name}")
    until(page, "document.getElementById('run-values') !== null")
    page.click(".change summary")
    page.select_option('.change [data-part="bars"]', "4")
    page.click('[data-rough="1"]')
    until(page, "document.getElementById('playing').textContent.startsWith('Draft of 1')")
    assert read_document(songs / run_name).versions == ()
    page.click('[data-shape="1"]')
    until(page, "document.querySelector('[data-label=\"1b\"]') !== null")
    assert [v.label for v in read_document(songs / run_name).versions] == ["1b"]
    page.keyboard.press("Escape")
    page.click("#undo")
    until(page, "document.querySelector('[data-label=\"1b\"]') === null")
    assert read_document(songs / run_name).versions == ()
    assert page.troubles == []
