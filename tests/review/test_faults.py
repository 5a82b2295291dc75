"""Each fault is found where it was made, and nowhere else."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.faults import faults_of
from tests.review.conftest import RATE_HZ, band


@pytest.fixture(scope="module", name="sound")
def _sound(plan):
    return 0.3 * band(plan)


def _clip(samples):
    return Clip(samples=np.asarray(samples, dtype=np.float32), rate_hz=RATE_HZ)


def _kinds(samples, sound):
    return [fault.kind for fault in faults_of(_clip(samples), _clip(sound))]


def _hum(n_frames, hertz):
    at_s = np.arange(n_frames) / RATE_HZ
    return 0.02 * sum(np.sin(2 * np.pi * n * hertz * at_s) / n for n in range(1, 6))[:, None]


def _hissing(sound, rng):
    spectrum = np.fft.rfft(rng.normal(size=sound.shape), axis=0)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    spectrum[(hertz < 6_500) | (hertz > 9_500)] = 0
    return 0.3 * np.fft.irfft(spectrum, len(sound), axis=0)


def test_a_sound_recording_has_no_fault(sound):
    assert _kinds(sound, sound) == []


def test_mono_recording_has_no_fault_of_sides(sound):
    assert _kinds(sound.mean(axis=1, keepdims=True), sound) == []


@pytest.mark.parametrize(
    ("kind", "made"),
    [
        pytest.param("clipping", lambda x: np.clip(4 * x, -0.5, 0.5), id="clipped"),
        pytest.param("dead channel", lambda x: x * [1, 0], id="right-dead"),
        pytest.param("swapped channels", lambda x: x[:, ::-1], id="swapped"),
        pytest.param("phase cancellation", lambda x: x * [1, -1], id="inverted"),
        pytest.param("hum", lambda x: x + _hum(len(x), 50.0), id="hum-50"),
        pytest.param("hum", lambda x: x + _hum(len(x), 60.0), id="hum-60"),
    ],
)
def test_fault_is_found_alone(kind, made, sound):
    faults = faults_of(_clip(made(sound)), _clip(sound))
    assert [fault.kind for fault in faults] == [kind]
    assert faults[0].sentence.endswith(".")


def test_sibilance_is_found(sound):
    loud = sound + _hissing(sound, np.random.default_rng(3))
    assert "sibilance" in _kinds(loud, sound)
    fault = next(f for f in faults_of(_clip(loud), _clip(sound)) if f.kind == "sibilance")
    assert "the whole sound and not the voice alone" in fault.sentence


def test_dead_side_is_named(sound):
    fault = faults_of(_clip(sound * [0, 1]), _clip(sound))[0]
    assert "left channel is dead" in fault.sentence


def test_gain_makes_no_fault(sound):
    assert _kinds(0.003 * sound, sound) == []
