"""Bars as they are told: faint ones, lost ones, steps, and whose a speed is."""

import math
from dataclasses import replace

import pytest

from segue.review.moves import BarTiming, Break, Clock, TimeMove
from segue.review.timing import _weak_moves, break_of, recorder_ratio

BAR_S = 2.0


def _bars(changes=()):
    """Eight bars that are clearly heard and in time, changed where told, by number."""
    return tuple(
        replace(
            BarTiming(
                number=n,
                section="outgoing" if n <= 4 else "incoming",
                plan_s=BAR_S * (n - 1),
                time_s=BAR_S * (n - 1),
                late_ms=0.0,
                agreement=0.6,
                is_struck=True,
            ),
            **dict(changes).get(n, {}),
        )
        for n in range(1, 9)
    )


def _moved(changes):
    return [(move.kind, move.bar, move.size_ms) for move in _weak_moves(_bars(changes))]


FAINT = {"late_ms": 90.0, "agreement": 0.3}


def test_a_faint_bar_that_is_far_off_is_told():
    assert _moved({6: FAINT}) == [("once", 6, 90.0)]


def test_a_faint_bar_is_held_against_those_that_are_told():
    untold = {"late_ms": None, "agreement": 0.2}
    assert _moved({5: untold, 7: FAINT}) == [("once", 7, 90.0)]
    assert _moved({6: FAINT, 7: untold}) == [("once", 6, 90.0)]


@pytest.mark.parametrize(
    "changes",
    [
        {6: FAINT | {"agreement": 0.27}},
        {6: FAINT | {"agreement": 0.36}},
        {6: FAINT | {"late_ms": 59.0}},
        {6: FAINT, 7: {"late_ms": 41.0}},
        {4: FAINT},
        {8: FAINT},
    ],
    ids=["too faint", "clear", "near", "others disagree", "at the border", "at the end"],
)
def test_what_tells_too_little_is_no_late_bar(changes):
    assert _moved(changes) == []


def _step(bar, size_ms):
    return TimeMove(kind="step", bar=bar, size_ms=size_ms)


def test_a_bar_whose_onsets_are_not_the_plans_is_lost_between_clear_ones():
    lost = {"agreement": 0.11, "late_ms": None}
    assert break_of(_bars({3: lost}), ()) == Break(bar=3, step_ms=None)
    assert break_of(_bars({3: lost | {"agreement": 0.12}}), ()) is None
    assert break_of(_bars({3: lost | {"is_struck": False}}), ()) is None
    assert break_of(_bars({3: lost, 2: {"agreement": 0.34}}), ()) is None
    assert break_of(_bars({3: lost, 4: {"late_ms": None}}), ()) is None
    for edge in (1, 4, 5, 8):  # of the take, and of a section
        assert break_of(_bars({edge: lost}), ()) is None


def test_the_first_of_steps_and_lost_bars_is_where_it_broke():
    lost = _bars({6: {"agreement": 0.0, "late_ms": None}})
    once = TimeMove(kind="once", bar=2, size_ms=90.0)
    assert break_of(lost, (once, _step(7, 50.0))) == Break(bar=6, step_ms=None)
    assert break_of(lost, (once, _step(3, -50.0))) == Break(bar=3, step_ms=-50.0)
    assert break_of(_bars(), (once,)) is None


@pytest.mark.parametrize("speed", [0.994, 1.006, 1.01])
def test_a_speed_whose_pitch_moves_along_is_the_recorders_and_else_the_bands(speed):
    moved_cents = -1200 * math.log2(speed)
    assert recorder_ratio(speed, moved_cents) == pytest.approx(speed, abs=1e-9)
    assert recorder_ratio(speed, 0.0) == 1.0
    # Three quarters of what the speed tells, where the pitch is 2 cents from it.
    between = 2 ** (-(moved_cents - 0.5) / 1200)
    assert recorder_ratio(speed, moved_cents - 2.0) == pytest.approx(between, abs=1e-9)
    # Further apart it is one of the two that the pitch is nearer to.
    assert recorder_ratio(speed, 1.7 * moved_cents) == speed
    assert recorder_ratio(speed, 0.3 * moved_cents) == 1.0


def test_a_clock_is_either_ones_where_the_pitch_is_near_both():
    clock = Clock(speed_ratio=1.001, tuning_cents=-1.0, recorder_ratio=1.0, drift_ms_a_minute=60.0)
    assert clock.slip_ms_a_minute == pytest.approx(60.0)
    assert clock.is_either
    assert not replace(clock, tuning_cents=1.5).is_either
    assert not replace(clock, speed_ratio=1.004).is_either
