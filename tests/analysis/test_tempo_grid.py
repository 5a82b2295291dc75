"""Grids through attacks that are known exactly."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.tempo_grid import fit_grid


@given(
    bpm=st.floats(40, 220),
    start_s=st.floats(0, 10),
    n_beats=st.integers(8, 100),
)
@settings(deadline=None, derandomize=True, max_examples=30)
def test_steady_attacks_give_their_own_tempo(bpm, start_s, n_beats):
    numbers = np.arange(n_beats, dtype=np.float64)
    times_s = start_s + numbers * 60 / bpm
    grid = fit_grid(numbers, times_s, np.ones(n_beats))
    assert grid.tempo_bpm == pytest.approx(bpm, rel=1e-6)
    np.testing.assert_allclose(grid.seconds_at(numbers), times_s, atol=1e-6)
    assert grid.beat_at(float(times_s[3])) == pytest.approx(3.0, abs=1e-4)


def test_wild_attacks_do_not_bend_a_steady_grid():
    rng = np.random.default_rng(2)
    numbers = np.arange(48, dtype=np.float64)
    times_s = numbers * 0.5 + rng.normal(0, 0.002, 48)
    times_s[rng.choice(48, 8, replace=False)] += 0.03
    grid = fit_grid(numbers, times_s, np.ones(48))
    assert grid.tempo_bpm == pytest.approx(120.0, rel=3e-4)
    assert grid.residual_s < 0.004


def test_drift_is_followed():
    numbers = np.arange(64, dtype=np.float64)
    beat_s = 0.5 * (1 + 0.015 * np.sin(2 * np.pi * numbers / 60))
    times_s = np.concatenate([[0.0], np.cumsum(beat_s)[:-1]])
    grid = fit_grid(numbers, times_s, np.ones(64))
    assert np.abs(grid.seconds_at(numbers) - times_s).max() < 0.002


def test_tempo_holds_beyond_the_fit():
    numbers = np.arange(16, dtype=np.float64)
    grid = fit_grid(numbers, numbers * 0.4, np.ones(16))
    np.testing.assert_allclose(grid.seconds_at(np.array([-2.0, 20.0])), [-0.8, 8.0], atol=1e-6)
