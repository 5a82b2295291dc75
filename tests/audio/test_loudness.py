"""Loudness against ITU-R BS.1770-4 and EBU Tech 3341."""

import math

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.audio.clip import Clip
from segue.audio.loudness import (
    integrated_lufs,
    k_weighting_sos,
    lufs_of_a_song,
    mean_lufs,
    momentary_lufs,
    short_term_lufs,
)

RATE_HZ = 48_000
TECH_3341_LU = 0.1  # EBU Tech 3341 v4.0, section 2.9, table 1: tolerance of every case here


def tones(*parts, rate_hz=RATE_HZ):
    """Stereo 1 kHz sine in parts of (peak level in dBFS, seconds), as Tech 3341 asks."""
    gains = np.concatenate([np.full(round(s * rate_hz), 10 ** (db / 20)) for db, s in parts])
    wave = gains * np.sin(2 * np.pi * 1000 * np.arange(len(gains)) / rate_hz)
    return Clip(samples=np.stack([wave, wave], axis=1).astype(np.float32), rate_hz=rate_hz)


SILENT_DB = -200.0


# EBU Tech 3341 v4.0, table 1, cases 1 to 5: signal and expected integrated loudness
@pytest.mark.parametrize(
    ("parts", "expected_lufs"),
    [
        pytest.param([(-23, 20)], -23.0, id="case 1"),
        pytest.param([(-33, 20)], -33.0, id="case 2"),
        pytest.param([(-36, 10), (-23, 60), (-36, 10)], -23.0, id="case 3"),
        pytest.param([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0, id="case 4"),
        pytest.param([(-26, 20), (-20, 20.1), (-26, 20)], -23.0, id="case 5"),
    ],
)
def test_integrated_loudness_meets_tech_3341(parts, expected_lufs):
    assert integrated_lufs(tones(*parts)) == pytest.approx(expected_lufs, abs=TECH_3341_LU)


@pytest.mark.parametrize("level_db", [-23, -33], ids=["case 1", "case 2"])
def test_steady_tone_reads_the_same_momentary_and_short_term(level_db):
    clip = tones((level_db, 20))
    for _, lufs in (momentary_lufs(clip), short_term_lufs(clip)):
        assert lufs[50:] == pytest.approx(level_db, abs=TECH_3341_LU)


def test_short_term_is_constant_on_tech_3341_case_9():
    _, lufs = short_term_lufs(tones(*[(-20, 1.34), (-30, 1.66)] * 5))
    assert len(lufs) > 100
    assert lufs == pytest.approx(-23.0, abs=TECH_3341_LU)


@pytest.mark.parametrize("i", range(0, 20, 3))
def test_short_term_finds_a_burst_anywhere_tech_3341_case_10(i):
    clip = tones((SILENT_DB, 0.15 * i), (-23, 3), (SILENT_DB, 1))
    assert short_term_lufs(clip)[1].max() == pytest.approx(-23.0, abs=TECH_3341_LU)


@pytest.mark.parametrize("i", range(0, 20, 3))
def test_short_term_follows_the_level_of_a_burst_tech_3341_case_11(i):
    clip = tones((SILENT_DB, 0.15 * i), (-38 + i, 3), (SILENT_DB, 3 - 0.15 * i))
    assert short_term_lufs(clip)[1].max() == pytest.approx(-38 + i, abs=TECH_3341_LU)


def test_momentary_is_constant_on_tech_3341_case_12():
    times_s, lufs = momentary_lufs(tones(*[(-20, 0.18), (-30, 0.22)] * 25))
    assert lufs[times_s > 1] == pytest.approx(-23.0, abs=TECH_3341_LU)


@pytest.mark.parametrize("i", range(20))
def test_momentary_finds_a_burst_anywhere_tech_3341_case_13(i):
    clip = tones((SILENT_DB, 0.02 * i), (-23, 0.4), (SILENT_DB, 1))
    assert momentary_lufs(clip)[1].max() == pytest.approx(-23.0, abs=TECH_3341_LU)


@pytest.mark.parametrize("i", range(0, 20, 3))
def test_momentary_follows_the_level_of_a_burst_tech_3341_case_14(i):
    clip = tones((SILENT_DB, 0.02 * i), (-38 + i, 0.4), (SILENT_DB, 1))
    assert momentary_lufs(clip)[1].max() == pytest.approx(-38 + i, abs=TECH_3341_LU)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_calibration_tone_reads_minus_3_01_in_one_channel(rate_hz):
    # ITU-R BS.1770-4, annex 1: 0 dBFS, 997 Hz, in the left channel alone: -3.01 LKFS
    wave = np.sin(2 * np.pi * 997 * np.arange(5 * rate_hz) / rate_hz)
    samples = np.stack([wave, np.zeros_like(wave)], axis=1).astype(np.float32)
    # the standard's coefficients are for 48 kHz; elsewhere the bilinear transform bends a little
    tolerance = 0.005 if rate_hz == RATE_HZ else 0.04
    assert integrated_lufs(Clip(samples=samples, rate_hz=rate_hz)) == pytest.approx(
        -3.01, abs=tolerance
    )


def test_weighting_has_the_published_coefficients_at_48_khz():
    # ITU-R BS.1770-4, annex 1, tables 1 and 2
    published = [
        [
            1.53512485958697,
            -2.69169618940638,
            1.19839281085285,
            1,
            -1.69065929318241,
            0.73248077421585,
        ],
        [1.0, -2.0, 1.0, 1, -1.99004745483398, 0.99007225036621],
    ]
    np.testing.assert_allclose(k_weighting_sos(48_000), published, atol=1e-12)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_integrated_loudness_agrees_with_pyloudnorm(rate_hz):
    # the DeMan filters are derived as ours; the default ones read 0.04 LU low
    rng = np.random.default_rng(3)
    envelope = np.repeat(rng.uniform(0.001, 0.3, 20), rate_hz)[:, None]
    samples = (envelope * rng.standard_normal((20 * rate_hz, 2))).astype(np.float32)
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    assert integrated_lufs(Clip(samples=samples, rate_hz=rate_hz)) == pytest.approx(
        meter.integrated_loudness(samples.astype(np.float64)), abs=0.01
    )


def test_silence_and_nothing_are_minus_infinity():
    for n_frames in (RATE_HZ, 0):
        clip = Clip(samples=np.zeros((n_frames, 2), np.float32), rate_hz=RATE_HZ)
        assert integrated_lufs(clip) == -math.inf
        assert (momentary_lufs(clip)[1] == -math.inf).all()


def test_clip_shorter_than_a_block_is_one_block():
    clip = tones((-23, 0.3))
    assert integrated_lufs(clip) == pytest.approx(-23.0, abs=0.2)  # the filter's onset
    assert len(momentary_lufs(clip)[1]) == 1
    assert momentary_lufs(clip)[0] == pytest.approx([0.15])


@settings(deadline=None, derandomize=True, max_examples=15)
@given(gain_db=st.floats(-30, 12), hop_s=st.sampled_from([0.01, 0.1]))
def test_gain_moves_momentary_loudness_by_itself(gain_db, hop_s):
    rng = np.random.default_rng(1)
    samples = (0.1 * rng.standard_normal((RATE_HZ, 2))).astype(np.float32)
    louder = (samples * 10 ** (gain_db / 20)).astype(np.float32)
    before = momentary_lufs(Clip(samples=samples, rate_hz=RATE_HZ), hop_s=hop_s)[1]
    after = momentary_lufs(Clip(samples=louder, rate_hz=RATE_HZ), hop_s=hop_s)[1]
    assert after - before == pytest.approx(gain_db, abs=1e-4)


def test_what_comes_and_goes_lies_between_the_mean_of_powers_and_that_of_decibels():
    lufs = np.array([-14.0, -30.0] * 20)
    power_mean = 10 * math.log10(float(np.mean(10 ** (lufs / 10))))
    assert float(lufs.mean()) < mean_lufs(lufs) < power_mean
    assert mean_lufs(lufs - 6.0) == pytest.approx(mean_lufs(lufs) - 6.0)
    assert mean_lufs(np.full(3, -math.inf)) == -math.inf


def test_a_song_that_rings_out_is_as_loud_as_it_was_just_before():
    played, rung_out = np.full(20, -16.0), np.linspace(-16.0, -60.0, 60)
    assert lufs_of_a_song(played) == pytest.approx(-16.0)
    assert mean_lufs(rung_out) < -24.0
    assert lufs_of_a_song(np.concatenate([played, rung_out])) > -22.0
