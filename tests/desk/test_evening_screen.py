"""The evening in a real browser: warnings lead to what mends them, and phones vote on all of it."""

import pytest

from segue.runfolder import read_document
from segue.setlist.set_file import read_set
from tests.desk.conftest import SIZES, SONGS, faults, until, vote_by_phone

SET = f"""schema_version = 1
title = "Harbour"
slot = "1m"  # a short one

[[songs]]
path = "{SONGS[0]}"
segue = false

[[songs]]
path = "{SONGS[1]}"
talk = "20s"
"""


@pytest.fixture(name="night")
def _night(songs):
    path = songs / "Night.toml"
    path.write_text(SET)
    yield path
    path.unlink()


def caution(words):
    return (
        f"[...document.querySelectorAll('.caution')].some((c) => c.textContent.includes({words!r}))"
    )


def no(condition):
    return f"!({condition})"


def mend(page, words, button):
    """Press the button of a warning; what has the focus then."""
    page.locator(".caution", has_text=words).get_by_role("button", name=button).click()
    return page.evaluate(
        "(({ id, className, dataset }) => ({ id, className, ...dataset }))(document.activeElement)"
    )


@pytest.mark.parametrize("size", SIZES)
def test_every_warning_leads_to_what_mends_it(visit, night, size):
    page = visit("?set=Night.toml", size=size)
    page.click("#plan-evening")
    until(page, caution("up a semitone: without a segue"))
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]

    at = mend(page, "without a segue", "Talk or stop after Copper Wire Morning")
    assert (at["field"], at["at"]) == ("segue", "0")
    assert faults(page) == []
    page.keyboard.press("ArrowUp")  # a plain stop, and now a segue
    until(page, no(caution("without a segue")))
    assert read_set(night).songs[0].is_segue

    at = mend(page, "comes last: its talk", "Talk or stop after Low Tide Telegraph")
    assert (at["field"], at["at"]) == ("talk", "1")
    page.keyboard.press("Control+a")
    page.keyboard.type("0")
    page.keyboard.press("Tab")
    until(page, no(caution("comes last")))
    assert read_set(night).songs[1].talk_s == 0

    at = mend(page, "Too long by", "out")
    assert "take-out" in at["className"]
    page.keyboard.press("Enter")
    until(page, no(caution("Too long")))
    (left,) = read_set(night).songs

    page.fill("#slot", "60")
    page.keyboard.press("Tab")
    until(page, caution("Short by"))
    assert read_set(night).slot_s == 3600
    assert "# a short one" in night.read_text()
    assert mend(page, "Short by", "Add a song")["id"] == "add-song"
    (other,) = {*SONGS} - {left.path.name}
    page.select_option("#add-song", other)
    until(page, "document.querySelectorAll('#set-list .set-song').length === 2")
    assert [song.path.name for song in read_set(night).songs] == [left.path.name, other]
    assert page.troubles == []


def test_a_song_that_is_to_be_moved_is_under_the_hand(visit, night):
    night.write_text(SET.replace("talk =", "opens = true\ntalk ="))
    page = visit("?set=Night.toml")
    page.click("#plan-evening")
    until(page, caution("is marked as opener"))
    at = mend(page, "is marked as opener", "Move Low Tide Telegraph")
    assert "grip" in at["className"]
    page.keyboard.press("ArrowUp")
    until(page, no(caution("is marked as opener")))
    assert read_set(night).songs[0].path.name == SONGS[1]


def test_two_windows_do_not_undo_each_other(visit, night):
    one, other = visit("?set=Night.toml"), visit("?set=Night.toml")
    other.route("**/evening?*", lambda route: route.abort())  # it does not hear of the change
    one.locator(".take-out").first.click()
    until(one, "document.querySelectorAll('#set-list .set-song').length === 1")
    other.locator(".take-out").last.click()
    until(other, "document.getElementById('told').textContent !== ''")
    assert len(read_set(night).songs) == 1


def test_phones_vote_on_the_whole_evening_and_the_choice_comes_back(visit, browser, night, songs):
    night.write_text(SET.replace("segue = false", ""))
    page = visit("?set=Night.toml")
    page.click("#make-evening")
    until(page, "document.querySelector('[data-state=\"made\"]') !== null")
    assert "0 of 1 segues chosen" in page.inner_text("#evening")
    # what waits to be heard opens where it is heard
    page.locator(".to-choose button").click()
    until(page, "document.activeElement.id === 'play-way'")
    page.click("#vote-evening")
    until(page, "document.querySelector('.vote a') !== null")
    assert faults(page) == []
    vote_by_phone(browser, page)
    until(page, "document.querySelector('.set-join[data-state=\"chosen\"]') !== null")
    (run,) = (songs / "evenings" / "Night").glob("01 *")
    choice = read_document(run).choice
    assert (choice.rank, choice.why) == (3, "it breathes")
    assert "Every segue that is made is chosen." in page.inner_text("#evening")
    page.click("#vote-evening")
    until(page, "document.querySelector('.vote') === null")
    assert page.troubles == []
