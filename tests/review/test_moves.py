"""What happened to the time is told as few events, each in its bar and at its size."""

import numpy as np
import pytest

from segue.review.moves import BarPlace, time_line

BAR_S = 2.5


def _bars(late_ms, seed=1):
    rng = np.random.default_rng(seed)
    return [
        BarPlace(
            number=n + 1, start_s=BAR_S * n, end_s=BAR_S * (n + 1), late_ms=ms + rng.normal(0, 3)
        )
        for n, ms in enumerate(late_ms)
    ]


@pytest.mark.parametrize("slope_ms", [0.0, 4.0, -6.0])
def test_bars_in_time_and_a_steady_drift_have_no_event(slope_ms):
    line = time_line(_bars([slope_ms * n for n in range(16)]))
    assert line.moves == ()
    assert line.slope == pytest.approx(slope_ms / 1000 / BAR_S, abs=4e-4)


@pytest.mark.parametrize("bar", [2, 7, 14])
def test_one_late_bar_is_one_event_without_a_drift(bar):
    late_ms = [0.0] * 16
    late_ms[bar] = 60.0
    line = time_line(_bars(late_ms))
    assert [(m.kind, m.bar) for m in line.moves] == [("once", bar + 1)]
    assert line.moves[0].size_ms == pytest.approx(60, abs=10)
    assert abs(line.slope) < 4e-4


def test_step_and_tempo_are_told_apart():
    step = time_line(_bars([0.0] * 9 + [80.0] * 7))
    assert [(m.kind, m.bar) for m in step.moves] == [("step", 10)]
    tempo = time_line(_bars([0.0] * 8 + [10.0 * BAR_S * (n + 0.5) for n in range(8)]))
    assert [m.kind for m in tempo.moves] == ["tempo"]
    assert abs(tempo.moves[0].bar - 9) <= 1
    assert tempo.moves[0].ratio == pytest.approx(1.01, abs=0.002)


def test_a_band_that_falls_behind_and_catches_itself_has_not_slowed_down():
    line = time_line(_bars([0.0] * 4 + [60.0] * 4 + [0.0] * 8))
    assert line.moves == ()
    assert abs(line.slope) < 4e-4


@pytest.mark.parametrize(("late_ms", "is_told"), [(25.0, False), (60.0, True)])
def test_a_step_is_told_from_40_ms_on(late_ms, is_told):
    """Less is what a band does by itself, and nothing to practise."""
    line = time_line(_bars([0.0] * 8 + [late_ms] * 8))
    assert bool(line.moves) is is_told


@pytest.mark.parametrize(("late_ms", "is_told"), [(24.0, False), (36.0, True), (-36.0, True)])
def test_a_bar_is_told_as_late_from_30_ms_on(late_ms, is_told):
    line = time_line(_bars([0.0] * 8 + [late_ms] + [0.0] * 7))
    assert [move.kind for move in line.moves] == ["once"] * is_told


@pytest.mark.parametrize(("percent", "is_told"), [(0.25, False), (0.6, True), (-0.6, True)])
def test_another_tempo_is_told_from_four_thousandths_on(percent, is_told):
    """Bands keep theirs within 0.2 to 0.3 % without a click."""
    late_ms = [0.0] * 16 + [10.0 * percent * BAR_S * (n + 0.5) for n in range(16)]
    moves = time_line(_bars(late_ms)).moves
    assert [move.kind for move in moves] == ["tempo"] * is_told
    assert [move.ratio for move in moves] == [pytest.approx(1 + percent / 100, abs=1e-3)] * is_told


@pytest.mark.parametrize(("n_bars", "n_told"), [(3, 0), (4, 1)])
def test_three_bars_give_no_line(n_bars, n_told):
    line = time_line(_bars([0.0, 0.0, 300.0, 0.0][:n_bars]))
    assert (len(line.moves), line.n_bars) == (n_told, n_bars)


def test_five_events_are_told_at_most():
    late_ms = np.zeros(32)
    late_ms[[3, 8, 13, 18, 23, 28]] = (90.0, -70.0, 80.0, -60.0, 100.0, 50.0)
    told = {move.bar: move.kind for move in time_line(_bars(late_ms)).moves}
    assert told == dict.fromkeys((4, 9, 14, 19, 24), "once")
