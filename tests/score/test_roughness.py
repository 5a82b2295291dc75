"""Published check values of sensory roughness (Hutchinson and Knopoff, Interface 7(1), 1978)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.score.overlap import CRITICAL_BAND_HZ, pair_roughness, roughness_between


def roughness(partial_hz, amplitude):
    """Of one sound, as published: pairs of partials over the power of all."""
    rough = pair_roughness(partial_hz[:, np.newaxis], partial_hz)
    pairs = np.outer(amplitude, amplitude) * np.triu(rough, k=1)
    return float(pairs.sum() / (amplitude**2).sum())


def hz_of(midi):
    return 440.0 * 2.0 ** ((np.asarray(midi, dtype=float) - 69.0) / 12.0)


def overtones(midis, *, n_overtones=11):
    """Partials 1/n of exact multiples; those that coincide are added in power."""
    partials: dict[float, float] = {}
    for midi in midis:
        for n in range(1, n_overtones + 1):
            hz = round(float(hz_of(midi)) * n, 6)
            partials[hz] = np.hypot(partials.get(hz, 0.0), 1.0 / n)
    return np.array(list(partials)), np.array(list(partials.values()))


@pytest.mark.parametrize(
    ("first_hz", "second_hz", "width_hz"),
    [
        pytest.param(400.0, 440.0, 87.225, id="400 and 440 Hz"),
        pytest.param(400.0, 380.0, 83.123, id="400 and 380 Hz"),
    ],
)
def test_critical_band_is_as_published(first_hz, second_hz, width_hz):
    # 1.72 f^0.65, Hutchinson & Knopoff 1978; values to the third decimal
    factor, power = CRITICAL_BAND_HZ
    assert factor * ((first_hz + second_hz) / 2) ** power == pytest.approx(width_hz, abs=5e-4)


@pytest.mark.parametrize(
    ("bands", "expected"),
    [
        pytest.param(0.25, 1.0, id="roughest at a quarter of a band"),
        pytest.param(0.5, 0.5413, id="half a band"),
        pytest.param(1.0, 0.0397, id="a whole band"),
        pytest.param(1.3, 0.0, id="beyond 1.2 bands"),
    ],
)
def test_pair_roughness_is_as_published(bands, expected):
    # g(y) of Hutchinson & Knopoff 1978, to the fourth decimal
    mean_hz = 500.0
    apart_hz = bands * CRITICAL_BAND_HZ[0] * mean_hz ** CRITICAL_BAND_HZ[1]
    value = pair_roughness(mean_hz - apart_hz / 2, mean_hz + apart_hz / 2)
    assert float(value) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("midis", "n_overtones", "expected"),
    [
        pytest.param((60, 61), 1, 0.499, id="semitone of pure tones on C4"),
        pytest.param((69, 70), 1, 0.491, id="semitone of pure tones on A4"),
        pytest.param((60, 61), 11, 0.484, id="semitone with overtones"),
        pytest.param((60, 64, 67), 11, 0.120, id="major triad"),
        pytest.param((60, 63, 67), 11, 0.130, id="minor triad"),
    ],
)
def test_roughness_of_chords_is_as_published(midis, n_overtones, expected):
    # values of the formula of Hutchinson & Knopoff 1978 with amplitudes 1/n, as an open
    # reference implementation gives them, to the third decimal
    assert roughness(*overtones(midis, n_overtones=n_overtones)) == pytest.approx(
        expected, abs=1.5e-3
    )


def test_roughness_between_is_what_the_sum_has_beyond_the_parts():
    first, second = overtones([60], n_overtones=6), overtones([61], n_overtones=6)
    both = np.concatenate([first[0], second[0]]), np.concatenate([first[1], second[1]])
    power = [(a**2).sum() for _, a in (first, second)]
    alone = (roughness(*first) * power[0] + roughness(*second) * power[1]) / sum(power)
    rows = [x[np.newaxis] for x in (*first, *second)]
    assert roughness_between(*rows)[0] == pytest.approx(roughness(*both) - alone, rel=1e-9)


@settings(deadline=None, derandomize=True)
@given(
    st.lists(st.floats(36, 96), min_size=2, max_size=6, unique=True),
    st.floats(1e-3, 1e3),
)
def test_roughness_ignores_gain(midis, gain):
    hz = hz_of(midis)
    amplitude = np.linspace(1.0, 0.3, len(hz))
    assert roughness(hz, gain * amplitude) == pytest.approx(roughness(hz, amplitude), rel=1e-9)
