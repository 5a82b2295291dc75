"""What the page and the picture of a review show of each bar, read without a browser."""

import re
from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from segue.audio.clip import Clip
from segue.review.listening import read_clip
from segue.review.moves import Break
from segue.review.report import Finding, Hole
from segue.review.review_files import _draw_bars, _draw_sound
from segue.review.review_page import PageOfReview, page_text
from segue.review.timing import JUST_NOTICED_MS
from tests.review.conftest import RATE_HZ

LATE_MS = {1: 0.2, 2: 12.4, 3: -30.0, 4: None, 5: 300.0}


def finding(bar, sentence):
    return Finding(
        kind="uneven", bar=bar, last_bar=bar, size=30.0, unit="ms", sentence=sentence, practise="go"
    )


@pytest.fixture(scope="module", name="told")
def _told(rehearsal):
    """The take that is played to the letter, with bars that are not."""
    plain = rehearsal.best_try
    bars = tuple(replace(bar, late_ms=LATE_MS.get(bar.number, 0.0)) for bar in plain.bars)
    found = (finding(3, "Bar 3 is early"), finding(1, "Bar 1 is odd"), finding(None, "All is loud"))
    return replace(rehearsal, tries=(replace(plain, bars=bars, findings=found),))


@pytest.fixture(scope="module", name="sounds")
def _sounds(run, told):
    """The plan's sound, and a recording of it that ends within the last bar."""
    music = read_clip(run / "1 music.wav")
    last = told.best_try.bars[-1]
    return music, Clip(
        samples=music.samples[: round((last.time_s - 0.1) * RATE_HZ)], rate_hz=RATE_HZ
    )


@pytest.fixture(scope="module", name="page")
def _page(told, sounds):
    plan, take = sounds
    return page_text(PageOfReview(rehearsal=told, label="1", plan=plan, take=take, trend=None))


def cells(page):
    """Of each bar what is said aloud, what is written, and where its mark begins and ends."""
    return re.findall(
        r'aria-label="bar (\d+), take: ([^"]+)"[^>]*>\s*<span>([^<]+)</span>'
        r'.*?class="amount" x="([-\d.]+)" y="1" width="([-\d.]+)"',
        page,
        re.DOTALL,
    )


def test_each_bar_says_how_late_it_is_in_words_and_by_its_mark(page, told):
    shown = {int(number): rest for number, *rest in cells(page)}
    assert len(shown) == len(told.best_try.bars)
    # The widest mark is 120 ms here, half of a drawing 100 wide: later bars stop at its edge.
    assert shown[1] == ["0 ms late", "0 ms", "0.0", "0.1"]
    assert shown[2] == ["12 ms late", "+12 ms", "0.0", f"{12.4 / 120 * 50:.1f}"]
    assert shown[3] == ["30 ms early", "-30 ms", f"{-30 / 120 * 50:.1f}", f"{30 / 120 * 50:.1f}"]
    assert shown[4] == ["not told", "not told", "0.0", "0.0"]
    assert shown[5] == ["300 ms late", "+300 ms", "0.0", "50.0"]
    assert shown[len(shown)][0] == "not in it"
    free = re.search(r'class="free" x="([-\d.]+)" y="0" width="([\d.]+)"', page)
    half = 50 * JUST_NOTICED_MS / 120
    assert [float(x) for x in free.groups()] == pytest.approx([-half, 2 * half], abs=0.06)


def test_bars_that_are_off_are_marked_and_those_that_are_missing_cannot_be_played(page):
    off = re.findall(r'class="hear cell off"[^>]*aria-label="bar (\d+)', page)
    assert off == ["3", "5"]
    gone = re.findall(r'aria-label="(bar \d+), take: not in it" disabled', page)
    assert len(gone) == 1


def test_a_finding_is_heard_from_the_bar_before(page):
    heard = re.findall(r"▶ take from bar (\d+)", page)
    assert heard == ["2", "1"]  # nothing comes before bar 1, and what is about all has no place
    assert "Bar 3 is early" in page


def test_small_lateness_does_not_fill_the_width(told, sounds):
    plan, take = sounds
    one = told.best_try
    near = replace(
        told, tries=(replace(one, bars=tuple(replace(bar, late_ms=10.0) for bar in one.bars)),)
    )
    page = page_text(PageOfReview(rehearsal=near, label="1", plan=plan, take=take, trend=None))
    assert cells(page)[0][2:] == ("+10 ms", "0.0", "10.0")  # of 50 ms at the least


def test_the_picture_has_a_column_a_bar_and_all_that_went_wrong(told, sounds):
    one = replace(
        told.best_try,
        broke=Break(bar=5, step_ms=300.0),
        holes=(Hole(bar=2, start_s=3.0, length_s=0.5),),
    )
    axes = Figure().subplots(2, 1)
    _draw_bars(axes[0], one)
    columns = {round(p.get_x() + p.get_width() / 2, 6): p for c in axes[0].containers for p in c}
    starts_s = [bar.time_s for bar in one.bars]
    for bar, ends_s in zip(one.bars, [*starts_s[1:], 2 * starts_s[-1] - starts_s[-2]], strict=True):
        if bar.late_ms is None:
            continue
        column = columns[round((bar.time_s + ends_s) / 2, 6)]
        assert column.get_height() == bar.late_ms
        assert column.get_width() == pytest.approx(0.7 * (ends_s - bar.time_s))
    assert len(columns) == len(one.bars) - 1
    assert [text.get_text() for text in axes[0].texts] == ["–"]
    assert axes[0].get_ylim() == pytest.approx((-360.0, 360.0))
    labels = axes[0].get_legend_handles_labels()[1]
    assert "broke here" in labels
    assert any(label.startswith("singer (") for label in labels)
    _draw_sound(axes[1], one, sounds[1])
    (hole,) = axes[1].patches
    assert (hole.get_x(), hole.get_width()) == (3.0, 0.5)
    assert [text.get_text().strip() for text in axes[1].texts] == [str(b.number) for b in one.bars]
    low, high = axes[1].get_xlim()
    assert low == pytest.approx(starts_s[0] - 1.0)
    assert high == pytest.approx(2 * starts_s[-1] - starts_s[-2] + 1.0)


def test_three_things_to_practise_are_told_first_and_the_rest_on_asking(told, sounds):
    plan, take = sounds
    found = tuple(finding(bar, f"Bar {bar} is odd") for bar in (1, 2, 3, 4, 5))
    odd = replace(told, tries=(replace(told.best_try, findings=found),))
    page = page_text(PageOfReview(rehearsal=odd, label="1", plan=plan, take=take, trend=None))
    first, _, more = page.partition("<summary>2 more</summary>")
    assert [f"Bar {bar} is odd" in first for bar in (1, 2, 3, 4, 5)] == [True] * 3 + [False] * 2
    assert "Bar 4 is odd" in more
    assert "Bar 5 is odd" in more
