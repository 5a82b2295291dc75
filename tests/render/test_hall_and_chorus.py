"""The hall and the chorus are what their numbers say, told from an impulse and from noise."""

import numpy as np
import pytest

from segue.render.shape import RINGS_S, SEND_FROM_HZ, hall
from segue.render.varispeed import DELAY_S, RATE_HZ, SWAY_S, WET_SHARE, chorused

FRAMES_A_S = 48_000


@pytest.fixture(scope="module", name="tail")
def _tail():
    """What comes back of an impulse, and 2 s beyond the time after which it is said to be over."""
    impulse = np.zeros((round((RINGS_S + 2.0) * FRAMES_A_S), 2), dtype=np.float32)
    impulse[0] = 1.0
    return hall(impulse, FRAMES_A_S).astype(np.float64)


def test_the_hall_falls_by_60_db_in_the_time_that_is_said(tail):
    # ISO 3382-1: reverberation time by backward integration, from 5 to 35 dB below the start
    left = np.cumsum(np.square(tail).sum(axis=1)[::-1])[::-1]
    fall_db = 10 * np.log10(left / left[0] + 1e-30)
    at_s = [np.flatnonzero(fall_db <= -down_db)[0] / FRAMES_A_S for down_db in (5, 35)]
    assert 2.0 * (at_s[1] - at_s[0]) == pytest.approx(1.8, rel=0.1)


def test_the_hall_is_over_when_it_is_said_to_be(tail):
    late = np.abs(tail[round(RINGS_S * FRAMES_A_S) :]).max()
    assert 20 * np.log10(late + 1e-30) < -120  # of full scale: the last of 20 bits


def test_steady_pink_noise_comes_back_as_soft_as_is_said():
    n_frames = 12 * FRAMES_A_S
    hertz = np.maximum(np.fft.rfftfreq(n_frames, 1 / FRAMES_A_S), 1.0)
    draw = np.random.default_rng(3).normal(size=(len(hertz), 2)) @ np.array([1.0, 1j])
    pink = np.fft.irfft(draw * np.where((hertz > 20) & (hertz < 20_000), hertz**-0.5, 0.0))
    pink = np.stack([0.1 * pink / pink.std()] * 2, axis=1).astype(np.float32)
    steady = slice(4 * FRAMES_A_S, None)
    level_db = 20 * np.log10(hall(pink, FRAMES_A_S)[steady].std() / pink[steady].std())
    assert level_db == pytest.approx(-7.5, abs=0.5)


def test_bass_is_kept_out_of_the_hall(tail):
    power = np.square(np.abs(np.fft.rfft(tail[:, 0])))
    hertz = np.fft.rfftfreq(len(tail), 1 / FRAMES_A_S)
    mean_db = [
        10 * np.log10(power[(hertz > low) & (hertz < 2 * low)].mean())
        for low in (SEND_FROM_HZ / 5, 2 * SEND_FROM_HZ)
    ]
    assert mean_db[1] - mean_db[0] > 6  # a first-order high-pass loses 6 dB an octave


def test_the_chorus_is_the_sound_and_one_copy_whose_delay_sways():
    period = round(0.1 * FRAMES_A_S)
    n_frames = round(FRAMES_A_S / RATE_HZ)
    sound = np.zeros((n_frames, 2), dtype=np.float32)
    sound[::period] = 1.0
    heard = chorused(sound, FRAMES_A_S)
    starts = np.arange(0, n_frames - period, period)
    assert heard[starts].ravel() == pytest.approx(1 - WET_SHARE, abs=1e-6)
    delays_s = np.array(
        [np.abs(heard[at + 48 : at + period]).argmax(axis=0) + 48 for at in starts]
    ) / (FRAMES_A_S)
    turns = RATE_HZ * (starts / FRAMES_A_S + DELAY_S)
    for channel, start in enumerate((0.0, 0.25)):
        wanted_s = DELAY_S + SWAY_S * np.sin(2 * np.pi * (turns + start))
        assert delays_s[:, channel] == pytest.approx(wanted_s, abs=1.5 / FRAMES_A_S)
    # 7.2 to 10.8 ms: a chorus and neither a flanger, below 5 ms, nor a slap (common practice)
    assert delays_s.min() == pytest.approx(0.0072, abs=1e-4)
    assert delays_s.max() == pytest.approx(0.0108, abs=1e-4)
