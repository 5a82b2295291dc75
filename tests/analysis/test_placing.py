"""Beats on grids that are known exactly."""

import numpy as np
import pytest

from segue.analysis.placing import PlacedBeats
from segue.analysis.tempo_grid import fit_grid


def placed(lengths_s):
    times_s = np.concatenate([[0.0], np.cumsum(lengths_s)])
    numbers = np.arange(len(times_s), dtype=np.float64)
    grid = fit_grid(numbers, times_s, np.ones(len(times_s)))
    return PlacedBeats(grid=grid, numbers=numbers, phase=0.0)


@pytest.mark.parametrize("slowed", [1.15, 1.4], ids="the last bar {:g} times slower".format)
def test_a_last_bar_that_slows_is_not_the_tempo(slowed):
    beats = placed([0.5] * 36 + [0.5 * slowed] * 4)
    assert beats.usual_beat_s(at_start=False) == pytest.approx(0.5, rel=0.005)


def test_a_drift_gives_the_tempo_of_the_side_that_is_joined():
    lengths_s = np.linspace(0.5, 0.52, 80)
    beats = placed(lengths_s)
    for at_start, near_s in ((True, lengths_s[:24]), (False, lengths_s[-24:])):
        assert beats.usual_beat_s(at_start=at_start) == pytest.approx(near_s.mean(), rel=0.001)
