"""Bars as they are told: faint ones, lost ones, steps, and whose a speed is."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.review.align import Alignment
from segue.review.moves import BarTiming, Break, Clock, TimeMove
from segue.review.timing import _weak_moves, break_of, recorder_ratio, timing_of

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


BEAT_S, N_BARS = 0.5, 12


def _plan(n_bars=N_BARS):
    lines = tuple(
        SimpleNamespace(beat=4.0 * n, number=n + 1, section="outgoing") for n in range(n_bars)
    )
    return SimpleNamespace(
        bar_lines=lines, seconds_at=lambda beat: beat * BEAT_S, duration_s=n_bars * BAR_S
    )


def _aligned(late_ms, *, speed=1.0, agreement=0.6, struck=1.0, n_bars=N_BARS):
    """Beats that are late by so much, bar by bar, in a take that began 3 s before."""
    plan_s = BEAT_S * np.arange(4 * n_bars)
    late_s = np.array([late_ms.get(1 + n // 4, 0.0) / 1000 for n in range(4 * n_bars)])
    each = np.ones(4 * n_bars)
    return Alignment(
        plan_s=plan_s,
        take_s=3.0 + speed * plan_s + late_s,
        agreement=np.asarray(agreement) * each,
        struck=np.asarray(struck) * each,
    )


def _timed(alignment, tuning_cents=0.0, shift_of=lambda _: None):
    return timing_of(alignment, _plan(), tuning_cents, shift_of)


def _own(late_ms, agreement=0.6, speed=1.0):
    """Bars that tell their time by their own onsets."""

    def shift_of(span_s):
        number = 1 + round(span_s[0] / BAR_S)
        return 3.0 + speed * span_s[0] + late_ms.get(number, 0.0) / 1000, agreement

    return shift_of


def test_bars_in_time_are_told_so():
    timing = _timed(_aligned({}))
    assert [bar.number for bar in timing.bars] == list(range(1, N_BARS + 1))
    assert [bar.late_ms for bar in timing.bars] == pytest.approx([0.0] * N_BARS, abs=1e-6)
    assert [bar.plan_s for bar in timing.bars] == [BAR_S * n for n in range(N_BARS)]
    assert [bar.time_s for bar in timing.bars] == pytest.approx(
        [3.0 + BAR_S * n for n in range(N_BARS)]
    )
    assert (timing.moves, timing.spread_ms) == ((), pytest.approx(0.0, abs=1e-6))
    assert timing.offset_s == pytest.approx(3.0)
    assert timing.take_s_at(7.3) == pytest.approx(10.3)


def test_a_bar_is_as_late_as_its_beats_are_or_as_its_own_onsets_say():
    timing = _timed(_aligned({4: 20.0, 5: -8.0}))
    assert timing.bars[3].late_ms == pytest.approx(20.0)
    assert timing.bars[4].late_ms == pytest.approx(-8.0)
    assert timing.bars[3].time_s == pytest.approx(3.0 + 3 * BAR_S + 0.020)
    # root mean square over the twelve
    assert timing.spread_ms == pytest.approx(math.sqrt((20.0**2 + 8.0**2) / 12))
    own = _timed(_aligned({4: 20.0}), shift_of=_own({4: 12.0}))
    assert own.bars[3].late_ms == pytest.approx(12.0)
    unclear = _timed(_aligned({4: 20.0}), shift_of=_own({4: 12.0}, agreement=0.34))
    assert unclear.bars[3].late_ms == pytest.approx(20.0)


def test_a_beat_belongs_to_the_bar_that_begins_with_it_also_where_it_is_rounded():
    alignment = _aligned({})
    take_s = alignment.take_s.copy()
    take_s[12] += 0.040  # beat one of bar 4
    for off_s in (-5e-4, 0.0, 5e-4):
        plan_s = alignment.plan_s + off_s
        timing = _timed(replace(alignment, plan_s=plan_s, take_s=take_s + off_s))
        assert timing.bars[3].late_ms == pytest.approx(10.0, abs=1e-6)
        assert timing.bars[2].late_ms == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("n_faint", "is_told"), [(2, True), (3, False)])
def test_half_of_a_bars_beats_tell_it(n_faint, is_told):
    agreement = np.full(4 * N_BARS, 0.6)
    agreement[12 : 12 + n_faint] = 0.24
    told = _timed(_aligned({4: 20.0}, agreement=agreement)).bars[3]
    assert (told.late_ms is not None) is is_told
    assert told.agreement == pytest.approx((n_faint * 0.24 + (4 - n_faint) * 0.6) / 4)
    if not is_told:  # between the beats that are heard
        assert told.time_s == pytest.approx(3.0 + 3 * BAR_S, abs=0.021)


def test_a_beat_that_agrees_by_a_quarter_is_heard():
    for agreement, late_ms in ((0.25, 20.0), (0.249, None)):
        each = np.full(4 * N_BARS, 0.6)
        each[12:16] = agreement
        told = _timed(_aligned({4: 20.0}, agreement=each)).bars[3]
        assert told.late_ms == (None if late_ms is None else pytest.approx(late_ms))


def test_where_hardly_a_beat_is_heard_all_are_taken():
    for n_heard, late_ms in ((4, None), (3, 20.0)):
        each = np.full(4 * N_BARS, 0.1)
        each[:n_heard] = 0.6
        told = _timed(_aligned({4: 20.0}, agreement=each)).bars[3]
        assert told.late_ms == (None if late_ms is None else pytest.approx(late_ms))


@pytest.mark.parametrize(("struck", "is_struck"), [(0.59, False), (0.61, True)])
def test_a_bar_is_struck_where_its_beats_are(struck, is_struck):
    assert _timed(_aligned({}, struck=struck)).bars[3].is_struck is is_struck


def test_a_bar_without_a_beat_in_the_recording_is_untold_and_agrees_with_nothing():
    whole = _aligned({})
    part = Alignment(**{
        name: getattr(whole, name)[:-4] for name in ("plan_s", "take_s", "agreement", "struck")
    })  # fmt: skip
    last = _timed(part).bars[-1]
    assert (last.late_ms, last.agreement, last.is_struck) == (None, 0.0, False)
    negative = _timed(_aligned({}, agreement=np.where(np.arange(48) < 44, 0.6, -0.3))).bars[-1]
    assert negative.agreement == 0.0


@pytest.mark.parametrize("speed", [0.99, 1.006, 1.015])
def test_a_band_that_drifts_is_told_by_the_minute_and_a_recorder_is_not(speed):
    band = _timed(_aligned({}, speed=speed))
    assert band.clock.drift_ms_a_minute == pytest.approx(60_000 * (speed - 1), abs=1e-3)
    assert band.clock.recorder_ratio == 1.0
    tape = _timed(_aligned({}, speed=speed), -1200 * math.log2(speed))
    assert tape.clock.drift_ms_a_minute == pytest.approx(0.0, abs=1e-3)
    assert tape.clock.recorder_ratio == pytest.approx(speed)
    assert [bar.late_ms for bar in tape.bars] == pytest.approx([0.0] * N_BARS, abs=1e-6)
    assert tape.take_s_at(7.0) == pytest.approx(3.0 + 7.0 * speed)
    # about its middle the band's own lateness is as much before as after
    late_ms = [bar.late_ms for bar in band.bars]
    assert np.diff(late_ms) == pytest.approx([1000 * BAR_S * (speed - 1)] * (N_BARS - 1), abs=1e-6)


def test_a_speed_that_nobody_has_is_a_wait_and_no_speed():
    """Pairs of beats across a pause of half a second lie further apart than bands drift."""
    late_ms = {n: 400.0 * (n >= 7) for n in range(1, N_BARS + 1)}
    timing = _timed(_aligned(late_ms))
    assert timing.clock.speed_ratio == pytest.approx(1.0)


@pytest.mark.parametrize("speed", [1.0, 1.004])
def test_what_happened_to_the_time_leaves_the_clock_alone(speed):
    late_ms = {n: 80.0 * (n >= 7) for n in range(1, N_BARS + 1)}
    timing = _timed(_aligned(late_ms, speed=speed), shift_of=_own(late_ms, speed=speed))
    assert [(move.kind, move.bar) for move in timing.moves] == [("step", 7)]
    assert timing.moves[0].size_ms == pytest.approx(80.0, abs=1.0)
    assert timing.clock.speed_ratio == pytest.approx(speed, abs=2e-4)
    told = np.diff([bar.late_ms for bar in timing.bars])
    assert told[5] == pytest.approx(80.0 + 1000 * BAR_S * (speed - 1), abs=1.0)


def test_a_late_bar_does_not_move_the_grid():
    late_ms = {3: 50.0, 5: 50.0, 8: 50.0}
    timing = _timed(_aligned(late_ms), shift_of=_own(late_ms))
    assert [(move.kind, move.bar) for move in timing.moves] == [
        ("once", 3), ("once", 5), ("once", 8),
    ]  # fmt: skip
    assert timing.bars[0].late_ms == pytest.approx(0.0, abs=1.0)
    assert timing.bars[4].late_ms == pytest.approx(50.0, abs=1.0)


def test_another_tempo_is_taken_from_its_bar_on():
    """2 % slower from bar 6 on: the grid is that of the bars before it."""
    late_ms = {n: 1000 * 0.02 * BAR_S * (n - 6) for n in range(7, N_BARS + 1)}
    alignment = _aligned({})
    after_s = np.maximum(alignment.plan_s - 5 * BAR_S, 0.0)
    bent = replace(alignment, take_s=alignment.take_s + 0.02 * after_s)
    timing = _timed(bent, shift_of=_own(late_ms))
    (move,) = timing.moves
    assert (move.kind, move.bar, move.ratio) == ("tempo", 6, pytest.approx(1.02, abs=2e-3))
    assert timing.bars[0].late_ms == pytest.approx(0.0, abs=4.0)
    assert timing.bars[-1].late_ms == pytest.approx(240.0, abs=12.0)
