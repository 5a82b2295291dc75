"""The page of a review in a real browser: it opens alone, plays at a press, fits its screen."""

from dataclasses import replace

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from segue.review import ReviewRequest, review_take, write_review
from tests.audition.tape import BUSY_SCRIPT, until
from tests.review.conftest import RATE_HZ, Played, band, taped

SAME_PLACE_BARS = 0.01
"""A hundredth of a bar of two seconds is 20 ms: what bars are told within."""
NASTY = """</script><img src=x onerror=alert(1)>.wav"""


@pytest.fixture(scope="module", name="page_file")
def _page_file(run, plan, tmp_path_factory):
    """The page of a recording with two tries: a clean one, and one with a bar late."""
    folder = tmp_path_factory.mktemp("page")
    late = Played(late_s=dict.fromkeys(range(9, 30), 0.12))
    pause = np.zeros((6 * RATE_HZ, 2), dtype=np.float32)
    sound = np.concatenate([band(plan), pause, band(plan, late)])
    take = taped(sound, folder / "evening.wav", offset_s=2.0)
    told = review_take(ReviewRequest(run=run, take=take))
    earlier = tuple(
        replace(told, take=f"take {n}.wav", recorded_on=f"2026-03-0{n}") for n in (1, 2)
    )
    told = replace(told, recorded_on="2026-03-09")
    return write_review(
        folder / "evening review.json", told, run=run, take=take, earlier=earlier
    ).page


@pytest.fixture(name="open_page")
def _open_page(browser, page_file, watched):
    contexts = []

    def open_page(*, width=1280, height=740, scheme=None, path=page_file):
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme
        )
        contexts.append(context)
        page = watched(context)
        page.goto(path.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


def test_every_bar_plays_from_the_plan_and_from_every_try(open_page, page_file, plan):
    page = open_page()
    rows = page.locator("tr[data-place]")
    assert rows.count() == len(plan.bar_lines)
    for side in (0, 1, 2):
        page.locator(f"tr[data-place='4'] [data-side='{side}']").click()
        until(page, f"now && now.side === {side}")
        assert int(page.evaluate("placeNow()")) == 4
        assert rows.nth(4).get_attribute("aria-current") == "true"
    page.locator("tr[data-place='4'] [data-side='2']").click()
    until(page, "!now")
    assert page.troubles == []
    assert page.requests == [page_file.as_uri()]


def test_a_switch_carries_on_at_the_same_place_of_the_music(open_page):
    page = open_page()
    page.locator("tr[data-place='2'] [data-side='2']").click()
    until(page, "now && placeNow() > 2.1")
    before, then_s = page.evaluate(
        "(() => { const t = audio.currentTime; return [placeNow(t), t]; })()"
    )
    page.click("#side-plan")
    until(page, "now && now.side === 0")
    place, at_s = page.evaluate("[placeAt(0, now.from), now.at]")
    bar_s = page.evaluate("told.sides[2].starts[3] - told.sides[2].starts[2]")
    assert place == pytest.approx(before + (at_s - then_s) / bar_s, abs=SAME_PLACE_BARS)
    page.click("#side-take")
    until(page, "now && now.side === 2")


def test_what_is_heard_of_a_try_is_the_bar_that_was_pressed(open_page, plan):
    # The band's bars start with a kick: the sound is quiet right before and loud right after.
    page = open_page()
    page.locator("tr[data-place='6'] [data-side='1']").click()
    until(page, "now && now.side === 1")
    before, after = page.evaluate(
        """(async () => {
        const { buffer, start_s } = await sounds[1], rate = buffer.sampleRate;
        const at = Math.round((start_s + told.sides[1].starts[6]) * rate);
        const n = Math.round(0.02 * rate);
        const power = (from) => buffer.getChannelData(0).slice(from, from + n)
          .reduce((sum, x) => sum + x * x, 0);
        return [power(at - n), power(at)]; })()"""
    )
    assert after > 4 * before


def test_no_sound_starts_late_on_a_busy_machine(open_page):
    page = open_page()
    page.evaluate(BUSY_SCRIPT)
    page.locator("tr[data-place='3'] [data-side='0']").click()
    until(page, "now && now.side === 0")
    late, in_time = page.evaluate("ahead")
    assert late <= 0 < in_time
    assert int(page.evaluate("placeNow(now.at)")) == 3


def test_a_bar_is_looped(open_page, plan):
    page = open_page()
    page.check("#loop")
    page.locator("tr[data-place='1'] [data-side='0']").click()
    bar_s = plan.seconds_at(plan.bar_lines[2].beat) - plan.seconds_at(plan.bar_lines[1].beat)
    page.wait_for_timeout(1000 * (bar_s + 0.3))
    assert int(page.evaluate("placeNow()")) == 1


def test_the_worst_comes_first_with_what_to_practise(open_page):
    page = open_page()
    assert page.locator(".tries li").count() == 2
    assert page.locator(".tries .best").inner_text().startswith("Try 1, the best")
    assert "Bar 9 comes" in page.locator(".tries li").nth(1).inner_text()
    assert "In the plan's time and pitch" in page.locator("main").inner_text()


def test_the_weeks_are_drawn(open_page):
    page = open_page()
    assert page.locator(".chart").count() >= 2
    assert page.locator(".chart").first.locator("circle").count() == 3
    assert "3 takes from 2026-03-01 to 2026-03-09: about the same" in page.inner_text("main")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(open_page, width, scheme):
    # axe-core, an outside judge of accessible pages, with all of its rules
    page = open_page(width=width, scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert Axe().run(page).response["violations"] == []
    page.locator("tr[data-place='1'] [data-side='1']").click()
    until(page, "now")
    assert Axe().run(page).response["violations"] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_name_that_would_be_markup_is_words(open_page, rehearsal, run, plan, tmp_path):
    take = taped(band(plan), tmp_path / "take.wav", offset_s=2.0)
    told = replace(rehearsal, take=NASTY, from_title=NASTY)
    files = write_review(tmp_path / "take review.json", told, run=run, take=take)
    page = open_page(path=files.page)
    assert NASTY in page.inner_text("header")
    assert page.troubles == []
