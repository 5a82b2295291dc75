"""The evening's page in a real browser: alone, at every width, by keyboard, with its sound."""

import re
from dataclasses import replace
from urllib.parse import unquote

import pytest

from segue.setlist.show.evening_page import EVENING_PAGE_NAME, evening_page_text, write_evening_page
from segue.setlist.show.rows import rows_of
from tests.audition.judged import faults_of
from tests.setlist.an_evening import TITLES, evening_of

NASTY = """</style></script><img src=x onerror=alert(1)>" 'quoted' & more"""


@pytest.fixture(scope="module", name="folder")
def _folder(shelf, tmp_path_factory):
    folder = tmp_path_factory.mktemp("evening")
    write_evening_page(folder, evening_of(shelf, folder=folder))
    return folder


@pytest.fixture(name="open_page")
def _open_page(browser, folder, watched):
    contexts = []

    def open_page(*, width=1280, height=900, path=None, scheme="light"):
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme
        )
        contexts.append(context)
        page = watched(context)
        page.goto((path or folder / EVENING_PAGE_NAME).as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


def test_page_opens_without_complaint_and_asks_for_nothing_else(open_page, folder):
    page = open_page()
    assert page.locator("audio").count() == 6
    assert page.troubles == []
    assert page.requests == [(folder / EVENING_PAGE_NAME).as_uri()]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_no_width_needs_sideways_scrolling(open_page, width, scheme):
    page = open_page(width=width, scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_players_play_the_wavs_beside_the_page_one_at_a_time(open_page, shelf):
    page = open_page()
    seconds, first_stopped, second_plays = page.evaluate(
        """async () => {
        const [a, b] = document.querySelectorAll('audio');
        a.muted = b.muted = true;
        await a.play();
        await b.play();
        return [a.duration, a.paused, !b.paused]; }"""
    )
    record = evening_of(shelf).joins[0].document.candidates[0]
    assert seconds == pytest.approx(record.plan.duration_s, abs=0.05)
    assert (first_stopped, second_plays) == (True, True)
    assert page.troubles == []


def test_every_link_leads_to_a_file_or_place_that_is_there(open_page, folder):
    page = open_page()
    links = page.eval_on_selector_all("a", "all => all.map((a) => a.getAttribute('href'))")
    assert len(links) >= 6
    for link in links:
        name, _, place = unquote(link).partition("#")
        if name.endswith("audition.html"):
            assert (folder / name).parent.is_dir()
            continue
        if not place:
            assert (folder / name).is_file()
            continue
        text = (folder / (name or EVENING_PAGE_NAME)).read_text(encoding="utf-8")
        assert f'id="{place}"' in text


@pytest.mark.parametrize(
    ("chosen", "told"),
    [
        ((2, 1), ""),
        ((2, None), "Segue 2 is not chosen yet: the best marked one counts."),
        ((None, None), "No segue is chosen yet: the best marked one of each counts."),
    ],
)
def test_what_is_still_to_choose_is_told_once_and_not_at_every_segue(shelf, chosen, told):
    rows = rows_of(evening_of(shelf, chosen=chosen))
    assert rows.open_words == told
    assert not any("chosen" in join.line for join in rows.joins)


def test_choice_is_shown_and_how_to_choose_is_told(open_page, folder):
    page = open_page()
    first, second = page.locator("section.way").all()
    assert "Chosen: 2, pad in the new key (we like it)" in first.inner_text()
    assert "✓ chosen" in first.locator(".one.taken h3").inner_text()
    assert "Not chosen yet" in second.inner_text()
    assert "1. tempo ramp" in second.locator(".one.taken h3").inner_text()
    assert "segue choose" not in page.inner_text("main")  # nothing to copy beside an option
    assert f"segue audition {folder.name} --serve" in page.inner_text("footer")
    assert "a tie with the one before" in second.locator(".one").nth(1).inner_text()


def test_it_works_by_keyboard(open_page):
    page = open_page()
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.tagName"))
    assert {"A", "AUDIO"} <= set(reached)


def test_a_phone_shows_times_and_warnings_and_then_the_set(open_page):
    page = open_page(width=360, height=740)
    assert page.locator(".picture:visible").count() == 0
    tops = [
        page.locator(place).first.bounding_box()
        for place in ("header p", ".warnings li", ".order tbody tr", ".order tbody tr:last-child")
    ]
    assert [box["y"] for box in tops] == sorted(box["y"] for box in tops)
    assert "running time 6:45 of a slot of 15:00" in page.locator("header p").inner_text()
    assert "Segue 2: Mind join 2." in page.locator(".warnings").first.inner_text()
    assert tops[-1]["y"] + tops[-1]["height"] <= 740  # the whole set, on the first screen
    assert open_page(width=1280).locator(".picture:visible").count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(360, 740), (740, 360), (1280, 800)])
def test_axe_finds_nothing(open_page, width, height, scheme):
    # axe-core, an outside judge of accessible pages, with all of its rules
    page = open_page(width=width, height=height, scheme=scheme)
    assert faults_of(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 800)])
def test_axe_finds_nothing_on_the_cue_sheets(open_page, folder, width, height, scheme):
    page = open_page(path=folder / "cue sheets.html", width=width, height=height, scheme=scheme)
    assert faults_of(page) == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("width", [360, 1280])
def test_a_short_evening_prints_on_one_sheet(open_page, width, paper):
    printed = open_page(width=width).pdf(format=paper)
    assert printed.count(b"/Type /Page\n") == 1


@pytest.mark.parametrize("width", [390, 1280])
def test_text_in_the_picture_stays_inside_and_apart(open_page, width):
    page = open_page(width=width)
    clashes = page.evaluate(
        """[...document.querySelectorAll('.picture')].flatMap((svg) => {
        const edge = svg.getBoundingClientRect();
        if (!edge.width) return [];
        const boxes = [...svg.querySelectorAll('text')].map(
          (text) => [text.textContent, text.getBoundingClientRect()]);
        const outside = ([, b]) => b.left < edge.left - 1 || b.right > edge.right + 1;
        const hits = (a, b) => a.left < b.right - 1 && b.left < a.right - 1 &&
          a.top < b.bottom - 4 && b.top < a.bottom - 4;
        return boxes.filter((box, i) => outside(box) ||
          boxes.some(([, b], j) => j > i && hits(box[1], b))).map(([words]) => words); })"""
    )
    assert clashes == []


def test_names_cannot_become_markup(open_page, shelf, tmp_path):
    evening = evening_of(shelf)
    songs = tuple(replace(song, title=NASTY) for song in evening.songs)
    joins = tuple(replace(join, warnings=(NASTY,)) for join in evening.joins)
    path = tmp_path / "nasty.html"
    nasty = replace(evening, title=NASTY, songs=songs, joins=joins, warnings=(NASTY,))
    path.write_text(evening_page_text(tmp_path, rows_of(nasty)), encoding="utf-8")
    page = open_page(path=path, width=320)
    assert page.troubles == []
    assert page.locator("img").count() == 0
    assert page.locator("h1").inner_text() == NASTY
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_policy_lets_nothing_out(folder):
    text = (folder / EVENING_PAGE_NAME).read_text(encoding="utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', text)
    assert policy is not None
    assert policy.group(1).startswith("default-src 'none';")
    assert "unsafe" not in policy.group(1)
    assert not re.search(r"(src|href)=[\"'](https?:|//)", text)


def test_running_time_is_told_against_the_slot(shelf):
    evening = evening_of(shelf)
    left_s = evening.slot_s - evening.running_s
    words = rows_of(evening).summary
    assert f"{round(left_s) // 60}:{round(left_s) % 60:02d} left" in words
    assert "too long" in rows_of(replace(evening, slot_s=60.0)).summary


def test_a_plain_stop_and_a_failed_join_have_no_players(shelf, tmp_path):
    evening = evening_of(shelf)
    stop = replace(
        evening.joins[0], is_segue=False, folder="", document=None, interlude_s=0.0, talk_s=25.0
    )
    failed = replace(evening.joins[1], folder="", document=None, problem="The file is damaged.")
    text = evening_page_text(tmp_path, rows_of(replace(evening, joins=(stop, failed))))
    assert "<audio" not in text
    assert "Talk 25 s." in text
    assert "The file is damaged." in text


def test_cue_sheet_of_a_join_is_found_after_a_plain_stop(shelf, tmp_path):
    evening = evening_of(shelf)
    stop = replace(evening.joins[0], is_segue=False, folder="", document=None)
    path = write_evening_page(tmp_path, replace(evening, joins=(stop, evening.joins[1])))
    place = re.search(r'cue%20sheets.html#(sheet-\d)"', path.read_text(encoding="utf-8"))
    assert place is not None
    sheets = (tmp_path / "cue sheets.html").read_text(encoding="utf-8")
    assert f'id="{place.group(1)}"><h1>{TITLES[1]} → {TITLES[2]}' in sheets
