"""Filters of second order against SciPy's own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from segue.audio.loudness import filtered, first_order_lowpass

RATE_HZ = 48_000


@settings(max_examples=20)
@given(seed=st.integers(0, 999), low_hz=st.floats(40.0, 4000.0), cut=st.integers(0, 2000))
def test_sections_do_as_scipys_and_go_on_where_they_stopped(seed, low_hz, cut):
    sound = np.random.default_rng(seed).standard_normal(2000)
    sections = signal.butter(4, [low_hz, 3 * low_hz], "bandpass", fs=RATE_HZ, output="sos")
    expected = signal.sosfilt(sections, sound)
    assert filtered(sections, sound) == pytest.approx(expected, abs=1e-12)
    state = np.zeros((len(sections), 2))
    parts = [filtered(sections, part, state) for part in (sound[:cut], sound[cut:])]
    assert np.concatenate(parts) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("cutoff_hz", [50.0, 1000.0, 12_000.0, 20_000.0])
def test_a_lowpass_of_first_order_is_butterworths(cutoff_hz):
    expected = signal.butter(1, cutoff_hz, fs=RATE_HZ, output="sos")
    assert first_order_lowpass(cutoff_hz, RATE_HZ) == pytest.approx(expected, abs=1e-12)


def test_what_is_filtered_is_not_changed():
    sound = np.ones(8)
    filtered(first_order_lowpass(1000.0, RATE_HZ), sound)
    assert np.array_equal(sound, np.ones(8))
