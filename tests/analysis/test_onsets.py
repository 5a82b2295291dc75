"""How far hits stand out: a law of level, and of what is struck against what is held."""

import numpy as np
import pytest

from segue.analysis.onsets import band_rises, strength_of_hits_db
from segue.audio.clip import Clip

RATE_HZ = 22_050
LENGTH_S = 8.0


def tone(gain=0.2):
    time_s = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    chord = sum(np.sin(2 * np.pi * hertz * time_s) for hertz in (110.0, 220.0, 331.0, 440.0))
    return gain * chord + 0.001 * np.random.default_rng(1).standard_normal(len(time_s))


def clicks(times_s, *, level=0.5):
    sound = np.zeros(round(LENGTH_S * RATE_HZ))
    burst = np.random.default_rng(2).standard_normal(round(0.05 * RATE_HZ))
    for time_s in times_s:
        at = round(time_s * RATE_HZ)
        sound[at : at + len(burst)] += level * burst * np.linspace(1.0, 0.0, len(burst)) ** 2
    return sound


def clip(mono):
    return Clip(samples=np.stack([mono, mono], axis=1).astype(np.float32), rate_hz=RATE_HZ)


def test_hits_are_found_where_they_are():
    wanted_s = np.arange(0.5, LENGTH_S - 0.5, 0.5)
    times_s, rises_db = band_rises(clip(tone() + clicks(wanted_s)))
    for time_s in wanted_s:
        near = np.abs(times_s - time_s) < 0.04
        assert rises_db[near].max() > 5 * np.median(rises_db)


@pytest.mark.parametrize("gain", [0.05, 0.5])
def test_the_level_of_the_music_changes_nothing(gain):
    music = tone() + clicks(np.arange(0.25, LENGTH_S, 0.25))
    one, other = (strength_of_hits_db(clip(factor * music)) for factor in (1.0, gain))
    assert other == pytest.approx(one, rel=0.02)


def test_what_is_struck_harder_stands_out_farther():
    times_s = np.arange(0.25, LENGTH_S, 0.25)
    held, soft, hard = (
        strength_of_hits_db(clip(tone() + clicks(times_s, level=level)))
        for level in (0.0, 0.05, 0.5)
    )
    assert held < soft < hard
    assert hard > 3 * held


@pytest.mark.parametrize("n_frames", [0, 100])
def test_of_next_to_nothing_there_are_no_hits(n_frames):
    assert strength_of_hits_db(clip(np.zeros(n_frames))) == 0.0
