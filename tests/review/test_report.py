"""Where a bar of the plan is in the recording, and how long a try is, from bars written by hand."""

from dataclasses import fields

import pytest

from segue.review.moves import BarTiming, Clock
from segue.review.report import SINGER_UNTOLD, Finding, Review, SingerEntry

BAR_S, LATE_S, STRETCH, RECORDER = 2.0, 5.0, 1.1, 1.02


def _review(n_bars=4, **changes):
    """Bars of two seconds that the band takes a tenth slower, on a recorder that runs 2 % slow."""
    bars = tuple(
        BarTiming(
            number=n,
            section="outgoing",
            plan_s=1.0 + BAR_S * (n - 1),
            time_s=LATE_S + 1.0 + STRETCH * BAR_S * (n - 1),
            late_ms=0.0,
            agreement=0.6,
            is_struck=True,
        )
        for n in range(1, n_bars + 1)
    )
    clock = Clock(speed_ratio=1.1, tuning_cents=0.0, recorder_ratio=RECORDER, drift_ms_a_minute=0.0)
    plain = dict.fromkeys((field.name for field in fields(Review)), ()) | {
        "bars": bars,
        "clock": clock,
        "offset_s": LATE_S,
    }
    return Review(**(plain | changes))


def test_between_bars_the_take_goes_as_fast_as_they_do():
    review = _review()
    for plan_s in (1.0, 2.0, 3.0, 4.5, 6.999):
        assert review.take_s_at(plan_s) == pytest.approx(LATE_S + 1.0 + STRETCH * (plan_s - 1.0))


def test_before_the_first_bar_and_behind_the_last_it_goes_as_fast_as_the_recorder():
    review = _review()
    assert review.take_s_at(0.0) == pytest.approx(LATE_S + 1.0 - RECORDER)
    assert review.take_s_at(9.0) == pytest.approx(LATE_S + 1.0 + 6 * STRETCH + 2 * RECORDER)


def test_a_try_is_as_long_as_from_the_renders_first_frame_to_the_end_of_its_last_bar():
    # 1 s to bar one, its bars as the band played them, and the last as long as the one before it
    for n_bars in (4, 7):
        told = 1.0 + (n_bars - 1) * STRETCH * BAR_S + RECORDER * BAR_S
        assert _review(n_bars).length_s == pytest.approx(told)


@pytest.mark.parametrize(
    ("plan_s", "bar"), [(0.0, 1), (1.0, 1), (2.96, 1), (2.98, 2), (3.0, 2), (6.9, 3), (20.0, 4)]
)
def test_a_moment_just_before_a_bar_line_is_on_it(plan_s, bar):
    assert _review().bar_at(plan_s) == bar


def test_what_to_try_next_is_the_worst_thing_or_how_much_of_it_could_be_told():
    keep, told = "keep it like this.", "where it could be told."
    assert _review().advice.endswith(keep)
    assert _review(untold_bars=(3,)).advice.endswith(told)
    assert _review(notes=(SINGER_UNTOLD,)).advice.endswith(told)
    assert _review(notes=("Something else.",)).advice.endswith(keep)
    found = Finding(
        kind="gap", bar=1, last_bar=1, size=1.0, unit="ms", sentence="A gap", practise=""
    )
    assert _review(findings=(found,), untold_bars=(3,)).advice == "A gap."


@pytest.mark.parametrize(("clearness", "is_sure"), [(0.49, False), (0.5, True)])
def test_a_singer_is_sure_from_a_half_on(clearness, is_sure):
    entry = SingerEntry(
        bar=9,
        time_s=1.0,
        late_ms=0.0,
        cents=0.0,
        phrase_cents=None,
        phrase_spread_cents=None,
        clearness=clearness,
    )
    assert entry.is_sure is is_sure
