"""Filters, changes of rate, peaks and mean spectra against SciPy's own."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from segue.audio.filters import (
    at_n_times,
    band_pass,
    beyond_frames,
    convolved,
    every_nth,
    filtered,
    filtered_both_ways,
    high_pass,
    low_pass,
    mean_power,
    peak_at,
    peaks,
    thinned,
    windowed_low_pass,
)

RATE_HZ = 48_000
ROUNDING = 1e-10  # of a filter whose poles lie near the unit circle, at its corner


def noise(n_frames=3000, *, seed=0):
    return np.random.default_rng(seed).standard_normal((n_frames, 2))


def response(sections):
    return signal.sosfreqz(sections, np.geomspace(1e-3, 3.1, 500))[1]


@settings(max_examples=20)
@given(seed=st.integers(0, 999), low_hz=st.floats(40.0, 4000.0), cut=st.integers(0, 2000))
def test_sections_do_as_scipys_and_go_on_where_they_stopped(seed, low_hz, cut):
    sound = noise(2000, seed=seed)
    sections = signal.butter(4, [low_hz, 3 * low_hz], "bandpass", fs=RATE_HZ, output="sos")
    expected = signal.sosfilt(sections, sound, axis=0)
    assert filtered(sections, sound) == pytest.approx(expected, abs=1e-12)
    state = np.zeros((2, len(sections), 2))
    parts = [filtered(sections, part, state) for part in (sound[:cut], sound[cut:])]
    assert np.concatenate(parts) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("cutoff_hz", [20.0, 200.0, 1000.0, 12_000.0, 20_000.0])
@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize(("ours", "kind"), [(low_pass, "lowpass"), (high_pass, "highpass")])
def test_low_and_high_passes_are_butterworths(ours, kind, order, cutoff_hz):
    expected = signal.butter(order, cutoff_hz, kind, fs=RATE_HZ, output="sos")
    sections = ours(order, cutoff_hz, RATE_HZ)
    assert sections.shape == expected.shape
    assert response(sections) == pytest.approx(response(expected), abs=ROUNDING)


@pytest.mark.parametrize("ends_hz", [(40.0, 120.0), (200.0, 4000.0), (2000.0, 20_000.0)])
@pytest.mark.parametrize("order", [2, 4])
def test_band_passes_are_butterworths(order, ends_hz):
    expected = signal.butter(order, ends_hz, "bandpass", fs=RATE_HZ, output="sos")
    sections = band_pass(order, ends_hz, RATE_HZ)
    assert sections.shape == expected.shape
    assert response(sections) == pytest.approx(response(expected), abs=ROUNDING)


@pytest.mark.parametrize("q", [0.5, 2.0, 30.0])
def test_a_peak_is_scipys(q):
    expected = signal.tf2sos(*signal.iirpeak(2000.0, q, fs=RATE_HZ))
    assert peak_at(2000.0, q, RATE_HZ) == pytest.approx(expected, abs=1e-12)


def test_what_is_filtered_is_not_changed():
    sound = np.ones(8)
    filtered(low_pass(1, 1000.0, RATE_HZ), sound)
    assert np.array_equal(sound, np.ones(8))


@pytest.mark.parametrize("sections", [low_pass(4, 200.0, 2756), low_pass(1, 200.0, RATE_HZ)])
@pytest.mark.parametrize("n_frames", [16, 3000])
def test_there_and_back_is_scipys(sections, n_frames):
    sound = noise(n_frames)
    expected = signal.sosfiltfilt(sections, sound, axis=0)
    assert filtered_both_ways(sections, sound) == pytest.approx(expected, abs=1e-11)
    mono = filtered_both_ways(sections, sound[:, 0])
    assert mono == pytest.approx(expected[:, 0], abs=1e-11)


def test_what_is_too_short_for_there_and_back_is_refused():
    sections = low_pass(4, 200.0, 2756)
    with pytest.raises(ValueError, match="too few"):
        filtered_both_ways(sections, noise(beyond_frames(sections)))


@pytest.mark.parametrize("n_frames", [1, 5, 17, 3001, 9000])
@pytest.mark.parametrize("n", [1, 2, 9, 17])
def test_changes_of_rate_are_scipys(n, n_frames):
    sound = noise(n_frames)
    fewer = signal.resample_poly(sound, 1, n, axis=0)
    assert every_nth(sound, n) == pytest.approx(fewer, abs=1e-12)
    more = signal.resample_poly(sound, n, 1, axis=0)
    assert at_n_times(sound, n) == pytest.approx(more, abs=1e-12)


def test_taps_of_our_own_are_laid_over_every_nth_frame():
    mono, taps = noise(1000)[:, 0], windowed_low_pass(65, 0.2)
    assert taps == pytest.approx(signal.firwin(65, 0.2), abs=1e-14)
    expected = np.convolve(mono, taps, mode="same")[::4]
    assert thinned(mono, 4, taps) == pytest.approx(expected, abs=1e-12)


@settings(max_examples=60)
@given(
    seed=st.integers(0, 999),
    has_plateaus=st.booleans(),
    least=st.floats(-1.0, 3.0),
    apart=st.integers(1, 12),
)
def test_peaks_are_scipys(seed, has_plateaus, least, apart):
    values = np.random.default_rng(seed).normal(2.0, 2.0, 80)
    values = np.round(values) if has_plateaus else values
    expected, _ = signal.find_peaks(values, height=least, distance=apart)
    assert np.array_equal(peaks(values, least, apart), expected)
    lowest = np.full(len(values), least)
    assert np.array_equal(peaks(values, lowest, apart), expected)


@pytest.mark.parametrize("values", [[], [1.0], [0.0, 1.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]])
def test_what_only_rises_or_rests_has_no_peak(values):
    assert not len(peaks(np.array(values), 0.0, 1))


@pytest.mark.parametrize("n_frames", [256, 3000])
def test_mean_power_is_welchs(n_frames):
    mono = noise(n_frames)[:, 0]
    _, expected = signal.welch(mono, 1.0, nperseg=256)
    expected[1:-1] /= 2.0  # of one side, and a hertz
    expected *= np.square(np.hanning(257)[:-1]).sum()
    assert mean_power(mono, 256) == pytest.approx(expected, rel=1e-9)


def test_a_room_answers_as_scipys():
    sound, answer = noise(700), noise(300, seed=1)
    expected = signal.oaconvolve(sound, answer, axes=0)
    assert convolved(sound, answer) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize(
    "modules",
    [
        pytest.param("segue.job.steps, segue.render.compiled", id="rendering"),
        pytest.param("segue.analysis.hear, segue.score.card", id="hearing-and-scoring"),
    ],
)
def test_the_package_itself_is_not_loaded(modules):
    told = f"import sys, {modules}; print('scipy.signal' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["False"]
