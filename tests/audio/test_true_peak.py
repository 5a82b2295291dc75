"""True peak against EBU Tech 3341 and another resampler."""

import math

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.audio.clip import Clip
from segue.audio.true_peak import true_peak_dbtp

RATE_HZ = 48_000


def clip_of(wave):
    return Clip(
        samples=np.asarray(wave, np.float32).reshape(len(wave), -1 if len(wave) else 2),
        rate_hz=RATE_HZ,
    )


# EBU Tech 3341 v4.0, table 1, cases 15 to 19: tolerance +0.2 / -0.4 dB. The tone is
# faded at both ends, since a hard edge rings above the expected value.
@pytest.mark.parametrize(
    ("frames_a_cycle", "peak", "phase_deg", "expected_dbtp"),
    [
        pytest.param(4, 0.50, 0.0, -6.0, id="case 15"),
        pytest.param(4, 0.50, 45.0, -6.0, id="case 16"),
        pytest.param(6, 0.50, 60.0, -6.0, id="case 17"),
        pytest.param(8, 0.50, 67.5, -6.0, id="case 18"),
        pytest.param(4, 1.41, 45.0, +3.0, id="case 19"),
    ],
)
def test_true_peak_meets_tech_3341(frames_a_cycle, peak, phase_deg, expected_dbtp):
    n = np.arange(RATE_HZ)
    wave = peak * np.sin(2 * np.pi * n / frames_a_cycle + math.radians(phase_deg))
    fade = np.minimum(1, np.minimum(n, n[::-1]) / 2400)
    measured = true_peak_dbtp(clip_of(np.stack([wave * fade, wave * fade], axis=1)))
    assert expected_dbtp - 0.4 <= measured <= expected_dbtp + 0.2


# In the manner of Tech 3341's cases 20 to 23: a burst whose peak lies on a frame, and one, two
# and three quarters of a frame after it. Computed, so the peak is 0 dBTP; tolerance as above.
@pytest.mark.parametrize("quarters", range(4), ids="{} quarters of a frame".format)
def test_a_burst_between_frames_is_read_within_tech_3341_tolerance(quarters):
    frames = np.arange(-600, 601) - quarters / 4
    shape = np.cos(np.pi * frames / 1300) ** 2
    burst = shape * np.cos(2 * np.pi * frames / 6)
    assert -0.4 <= true_peak_dbtp(clip_of(np.stack([burst, burst], axis=1))) <= 0.2


@pytest.mark.parametrize("oversampling", [4, 8, 16])
def test_reading_is_short_by_no_more_than_the_step_allows(oversampling):
    # a sine of f cycles a frame is short by at most 20 log10 cos(pi f / n): the step's geometry
    n = np.arange(20_000)
    fade = np.minimum(1, np.minimum(n, n[::-1]) / 2400)
    for cycles in (0.2501, 0.40017, 0.4503):
        measured = true_peak_dbtp(
            clip_of(fade * np.sin(2 * np.pi * cycles * n)), oversampling=oversampling
        )
        floor_db = 20 * math.log10(math.cos(math.pi * cycles / oversampling))
        assert floor_db - 0.01 <= measured <= 0.01


@pytest.mark.parametrize("seed", range(4))
def test_true_peak_agrees_with_another_resampler(seed):
    rng = np.random.default_rng(seed)
    wave = soxr.resample(0.3 * rng.standard_normal(6_000), 24_000, RATE_HZ, quality="VHQ")
    wave[:50] = wave[-50:] = 0
    other = 20 * math.log10(np.abs(soxr.resample(wave, RATE_HZ, 16 * RATE_HZ, "VHQ")).max())
    assert true_peak_dbtp(clip_of(wave), oversampling=16) == pytest.approx(other, abs=0.02)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(place=st.integers(0, 400), sign=st.sampled_from([-1.0, 1.0]), channel=st.integers(0, 1))
def test_a_peak_is_found_wherever_it_lies(place, sign, channel):
    # two frames side by side: by the sinc, sinc(1/2) twice halfway between them, 4 / pi
    wave = np.zeros((402, 2))
    wave[place : place + 2, channel] = 0.5 * sign
    assert true_peak_dbtp(clip_of(wave)) == pytest.approx(20 * math.log10(2 / math.pi), abs=0.01)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(gain_db=st.floats(-40, 20), n_frames=st.integers(1, 500), seed=st.integers(0, 99))
def test_gain_moves_the_peak_by_itself_and_it_is_never_below_the_frames(gain_db, n_frames, seed):
    wave = np.random.default_rng(seed).uniform(-1, 1, (n_frames, 2))
    before = true_peak_dbtp(clip_of(wave))
    assert before >= 20 * math.log10(np.abs(wave.astype(np.float32)).max()) - 1e-9
    after = true_peak_dbtp(clip_of(wave * 10 ** (gain_db / 20)))
    assert after - before == pytest.approx(gain_db, abs=1e-4)


def test_silence_and_nothing_have_no_peak():
    assert true_peak_dbtp(clip_of(np.zeros((100, 1)))) == -math.inf
    assert true_peak_dbtp(clip_of(np.zeros((0, 2)))) == -math.inf
