"""Each fault is found where it was made, and nowhere else."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.review.faults import clipping, dead_channel, faults_of, sibilance
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


def _tops(n_runs, n_frames=4, length_s=60.0):
    """A minute of a tone with so many flat tops."""
    at_s = np.arange(round(length_s * 8_000)) / 8_000
    sound = 0.5 * np.sin(2 * np.pi * 100 * at_s + 0.3)
    for run in range(n_runs):
        first = 2_000 * (run + 1)
        sound[first : first + n_frames] = 0.8
    return Clip(samples=sound[:, None].astype(np.float32), rate_hz=8_000)


def test_flat_tops_are_counted_a_minute():
    assert clipping(_tops(9)) is None
    fault = clipping(_tops(12))
    assert (fault.value, fault.unit) == (12.0, "times a minute")
    assert clipping(_tops(100, n_frames=1)) is None  # a single highest frame is no flat top
    assert clipping(_tops(9, length_s=30.0)).value == 18.0
    both = np.concatenate([_tops(6).samples] * 2, axis=1)
    assert clipping(Clip(samples=both, rate_hz=8_000)).value == 12.0


@pytest.mark.parametrize(("down_db", "is_dead"), [(39.0, False), (41.0, True)])
def test_a_channel_is_dead_from_40_db_down(down_db, is_dead, sound):
    left = sound[:, :1]
    fault = dead_channel(_clip(np.concatenate([left, left * 10 ** (-down_db / 20)], axis=1)))
    assert (fault is not None) is is_dead
    if is_dead:
        assert fault.value == pytest.approx(down_db, abs=0.01)
        assert "right channel is dead (41 dB down)" in fault.sentence
    assert dead_channel(_clip(np.zeros((1_000, 2)))) is None


@pytest.mark.parametrize(("over_db", "is_told"), [(7.0, False), (14.0, True)])
def test_sibilance_is_that_of_the_loudest_moments(over_db, is_told):
    rng = np.random.default_rng(8)
    noise = 0.05 * rng.normal(size=(20 * RATE_HZ, 1))
    # a twentieth of the time, as S sounds are: over all of it they hardly count
    spectrum = np.fft.rfft(noise, axis=0)
    hertz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    hiss = np.fft.irfft(np.where((hertz > 5_000)[:, None], spectrum, 0), len(noise), axis=0)
    sings = (np.arange(len(noise)) % RATE_HZ < RATE_HZ // 20)[:, None]
    take = noise + (10 ** (over_db / 20) - 1) * hiss * sings
    fault = sibilance(_clip(take), _clip(noise))
    assert (fault is not None) is is_told
    if is_told:
        assert fault.value == pytest.approx(over_db, abs=4.0)  # some of it leaks below


@pytest.mark.parametrize("hiss", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("gains", [(1.0, 0.35), (0.35, 1.0), (1.0, 1.0)])
def test_a_softer_side_and_hiss_are_no_swapped_cables(sound, gains, hiss):
    """Hiss is the same on both sides: it draws the bands apart in which a softer side drowns."""
    noise = hiss * np.random.default_rng(1).normal(size=sound.shape)
    assert "swapped channels" not in _kinds(sound * gains + noise, sound)
    if gains == (1.0, 1.0) and hiss < 0.03:  # more leaves too little that moves
        assert "swapped channels" in _kinds(sound[:, ::-1] + noise, sound)
