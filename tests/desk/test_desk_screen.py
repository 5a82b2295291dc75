"""In a real browser: songs put right, an option shaped by hand, a tempo moved by its handles."""

import pytest

from segue.runfolder import read_document
from tests.audition.tape import BUSY_SCRIPT
from tests.desk.conftest import SONGS, faults, open_run, pick, until


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_it(visit, run_name, scheme):
    page = visit(f"?run={run_name}", scheme=scheme)
    pick(page)
    open_run(page, run_name)
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert faults(page) == []


def test_a_key_is_put_right_and_counts_for_the_commands(visit, songs):
    page = visit()
    pick(page)
    page.click("#end-start .right summary")
    page.select_option('#end-start [data-say="key"]', "D major")
    until(page, "document.querySelector('#end-start .heard').textContent.includes('D major')")
    assert 'key = "D major"' in (songs / SONGS[1] / "song.toml").read_text()
    page.click('#end-start [data-do="forget"]')
    until(page, "!document.querySelector('#end-start .heard').textContent.includes('D major')")
    assert page.troubles == []


def test_an_option_is_shaped_and_the_version_taken_back(visit, run_name, songs):
    page = visit(f"?run={run_name}")
    until(page, "document.getElementById('run-values') !== null")
    page.click("#way-0 .change summary")
    page.select_option('#way-0 [data-part="bars"]', "4")
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
    assert page.is_disabled("#undo")
    assert not page.is_disabled("#redo")
    assert page.troubles == []


def test_the_tempo_is_moved_by_its_handles_by_keys_and_by_pointer(visit, run_name):
    page = visit(f"?run={run_name}")
    until(page, "document.querySelector('.tempo-way') !== null")
    option = page.locator(".option:has(.tempo-way)")
    option.locator(".change > summary").click()
    words, held = option.locator(".tempo-words"), option.locator('[data-handle="held"]')
    n_bars = int(option.locator(".tempo-way").get_attribute("data-bars"))
    held.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert held.get_attribute("aria-valuenow") == "2"
    assert "for 2 bars, then" in words.inner_text()
    page.keyboard.press("End")  # never beyond the other handle
    steady = option.locator('[data-handle="steady"]')
    assert (
        int(held.get_attribute("aria-valuenow")) == int(steady.get_attribute("aria-valuenow")) - 1
    )
    page.keyboard.press("Home")
    field = option.locator(".tempo-field")
    field.scroll_into_view_if_needed()
    box, at = field.bounding_box(), steady.bounding_box()
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * (n_bars - 2) / n_bars, box["y"] + 5, steps=4)
    page.mouse.up()
    assert steady.get_attribute("aria-valuenow") == str(n_bars - 2)
    label = option.get_attribute("data-label")
    page.keyboard.press("Escape")
    page.click(f'[data-rough="{label}"]')
    until(page, "document.getElementById('playing').textContent.startsWith('Draft of')")
    assert page.troubles == []


def test_no_sound_starts_late_on_a_busy_machine(visit):
    page = visit()
    pick(page)
    page.evaluate(BUSY_SCRIPT)
    page.click('#end-end [data-do="hear"]')
    until(page, "window.ahead.length === 2")
    late, in_time = page.evaluate("ahead")
    assert late <= 0 < in_time
    assert page.troubles == []


def test_of_two_songs_picked_quickly_both_ends_show_whichever_answer_comes_first(visit):
    pick(visit())  # both are heard: no news comes of them that would fill the page anew
    page, held = visit(), []

    def answer(route):
        if held:
            route.continue_()
        else:
            held.append(route)

    page.route("**/ends?*", answer)
    page.click('[aria-label="Copper Wire Morning as the old song"]')
    page.click('[aria-label="Low Tide Telegraph as the new song"]')
    until(page, "document.querySelectorAll('#ends .end').length === 2")
    with page.expect_response("**/ends?*") as first:
        held[0].continue_()
    first.value.finished()
    page.evaluate("new Promise((done) => setTimeout(done, 200))")
    assert page.locator("#ends .end").count() == 2
    assert page.troubles == []
