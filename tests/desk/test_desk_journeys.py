"""The whole job in a real browser, on a wide screen and on a phone.

What is shaped, chosen, packed and voted on are two quick options that were made before; all three
are made at the end.
"""

import zipfile

import pytest

from segue.audio import read_song
from segue.desk.orders import PACE_NAME
from segue.runfolder import read_document
from tests.desk.conftest import SIZES, SONGS, faults, open_run, pick, until, vote_by_phone

SCHEMES = {"wide": "light", "phone": "dark"}


def put_right(page):
    """Say another key than was heard, in the form that has every key."""
    page.click("#end-start .right > summary")
    page.select_option('#end-start [data-say="key"]', "C minor")
    until(page, "document.querySelector('#end-start [data-given=\"key\"]') !== null")
    until(page, "document.querySelector('#end-start .heard').textContent.includes('C minor')")


def move_the_exit(page):
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
    page.click("#rough")
    until(page, "document.getElementById('playing').textContent.includes('rough')")
    page.keyboard.press("Escape")


def shape(page):
    page.click("#way-0 .change > summary")
    page.click("#way-0 [data-solo]")
    until(page, "document.getElementById('playing').textContent.includes('alone')")
    page.locator('#way-0 .layer [data-part="level"]').first.focus()
    page.keyboard.press("ArrowLeft")
    assert page.locator("#way-0 .layer output").first.inner_text() == "−0.5 dB"
    page.click('[data-rough="1"]')
    until(page, "document.getElementById('playing').textContent.startsWith('Draft of 1')")
    page.keyboard.press("Escape")


def compare_blind(page):
    page.check("#blind")
    assert not page.locator("#way-0 .named").first.is_visible()
    page.click("#options h2")
    page.keyboard.press("2")
    assert page.get_attribute(".switch >> nth=1", "aria-pressed") == "true"
    page.click("#play-way")
    until(page, "document.getElementById('playing').textContent.startsWith('option 2')")
    page.keyboard.press("1")
    until(page, "document.getElementById('playing').textContent.startsWith('option 1')")
    page.keyboard.press("Escape")
    page.uncheck("#blind")


def choose(page, folder):
    page.fill("#why", "she finds her note")
    page.click('[data-choose="1"]')
    until(page, "document.querySelector('#way-0 .chosen') !== null")
    choice = read_document(folder).choice
    assert (choice.rank, choice.why) == (1, "she finds her note")


def pack(page):
    with page.expect_download() as coming:
        page.click("#pack")
    with zipfile.ZipFile(coming.value.path()) as archive:
        assert archive.testzip() is None
        assert any(name.endswith("tempo map.mid") for name in archive.namelist())


def review(page, folder):
    music = folder / read_document(folder).candidates[0].music_file
    page.set_input_files("#take-file", music)
    until(page, "document.getElementById('take-told').textContent.includes('Next time')")


def evening(page, songs):
    page.click("#new-set")
    until(page, "document.querySelectorAll('#set-list .set-song').length === 2")
    page.locator("#set-list .grip").nth(1).focus()
    page.keyboard.press("ArrowUp")
    until(page, "document.getElementById('told').textContent.includes('has this order now')")
    (written,) = songs.glob("Set*.toml")
    text = written.read_text()
    assert text.index("Low Tide") < text.index("Copper Wire")


def vote(page, browser, folder):
    page.click("#vote")
    until(page, "document.querySelector('.vote a') !== null")
    assert page.locator(".vote img").get_attribute("alt")
    vote_by_phone(browser, page, rank=2, why="the band likes it")
    until(page, "document.querySelector('#way-1 .chosen') !== null")
    choice = read_document(folder).choice
    assert (choice.rank, choice.why) == (2, "the band likes it")
    page.click("#vote")
    until(page, "document.querySelector('.vote') === null")


def talk(page):
    page.click("#bridge .talk summary")
    page.fill("#pace", "120")
    page.fill("#speech", "good evening harbour this one is for you")
    page.keyboard.press("Tab")
    assert page.input_value("#talk") == "4"
    assert page.inner_text("#speech-words") == "8 words, about 4 s"


def make_three(page, songs):
    page.click("#make")
    until(page, "document.querySelector('[data-draft]') !== null")
    assert page.inner_text("#making-words")
    until(page, "document.getElementById('run-values') !== null")
    assert page.locator("#options .option").count() == 3
    run = page.evaluate("JSON.parse(document.getElementById('run-values').textContent).run")
    assert len(read_document(songs / run).candidates) == 3


@pytest.fixture(autouse=True)
def _as_it_was(songs):
    """What one journey writes down is not there for the next."""
    yield
    made = (*songs.glob("Set*.toml"), songs / SONGS[1] / "song.toml", songs / PACE_NAME)
    for path in made:
        path.unlink(missing_ok=True)


@pytest.mark.parametrize("size", SIZES)
def test_the_whole_job(visit, browser, run_name, songs, size):
    page, folder = visit(size=size, scheme=SCHEMES[size]), songs / run_name
    steps = (
        lambda: None,
        lambda: pick(page),
        lambda: put_right(page),
        lambda: move_the_exit(page),
        lambda: open_run(page, run_name),
        lambda: shape(page),
        lambda: compare_blind(page),
        lambda: choose(page, folder),
        lambda: pack(page),
        lambda: review(page, folder),
        lambda: evening(page, songs),
        lambda: vote(page, browser, folder),
        lambda: talk(page),
        lambda: make_three(page, songs),
    )
    for step in steps:
        step()
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    assert str(read_song(songs / SONGS[1], edge="start").notes.key) == "C minor"
    assert page.troubles == []
    assert all(url.startswith(("http://127.0.0.1:", "blob:")) for url in page.requests)
