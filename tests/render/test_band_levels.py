"""Levels given back band by band: what was lost, slowly, and nothing where nothing is missing."""

import numpy as np
import pytest

from segue.render.spectra import Frames, at_level_of, band_places, band_powers, mid_side
from tests.render.measure import db, rms_db

RATE_HZ = 22_050
WINDOW = 2_048
MOST_DB = 4.1
"""No gain is larger: 1.6 in amplitude."""


def noise(seconds=3.0, seed=1, n_channels=2):
    generator = np.random.default_rng(seed)
    shape = (round(seconds * RATE_HZ), n_channels)
    return (0.1 * generator.standard_normal(shape)).astype(np.float32)


def powers_of(samples):
    places = band_places(WINDOW, RATE_HZ)
    return np.concatenate([band_powers(s, places) for _, s in Frames(samples, WINDOW).blocks()], 1)


def levelled(made, wanted):
    return at_level_of(powers_of(wanted), made, WINDOW, RATE_HZ)


def test_bands_are_a_third_of_an_octave_apart_from_60_hz():
    places = band_places(WINDOW, RATE_HZ)
    hertz = np.arange(WINDOW // 2 + 1) * RATE_HZ / WINDOW
    assert (places[hertz <= 60.0] == 0).all()
    above = hertz > 60.0
    assert places[above] == pytest.approx(3 * np.log2(hertz[above] / 60.0), abs=1e-4)


def test_every_bin_counts_once():
    generator = np.random.default_rng(2)
    shape = (2, 7, WINDOW // 2 + 1)
    spectra = (generator.standard_normal(shape) + 1j * generator.standard_normal(shape)).astype(
        np.complex64
    )
    powers = band_powers(spectra, band_places(WINDOW, RATE_HZ))
    assert powers.sum(axis=2) == pytest.approx(np.square(np.abs(spectra)).sum(axis=2), rel=1e-5)


def test_a_sound_at_its_own_level_is_left_alone():
    samples = noise()
    assert np.abs(levelled(samples, samples) - samples).max() < 2e-6


@pytest.mark.parametrize("lost_db", [-3.0, -1.0, 2.0])
def test_what_was_lost_is_given_back(lost_db):
    wanted = noise()
    made = (wanted * 10 ** (lost_db / 20)).astype(np.float32)
    assert rms_db(levelled(made, wanted)) == pytest.approx(rms_db(wanted), abs=0.02)


def test_a_loss_in_one_band_is_made_up_for_there_and_nowhere_else():
    from scipy.signal import butter, sosfiltfilt

    wanted = noise()
    band = sosfiltfilt(
        butter(4, (900, 2_500), "bandpass", fs=RATE_HZ, output="sos"), wanted, axis=0
    )
    made = (wanted - 0.25 * band).astype(np.float32)
    difference = levelled(made, wanted) - wanted
    assert rms_db(made - wanted) - rms_db(wanted) > -27.0
    assert rms_db(difference) < rms_db(made - wanted) - 10.0


def test_middle_and_sides_have_gains_of_their_own():
    wanted = noise()
    made = wanted * np.array([[0.8, 1.1]], np.float32)
    got = levelled(made, wanted)
    for channel in range(2):
        assert rms_db(got[:, channel]) == pytest.approx(rms_db(wanted[:, channel]), abs=0.02)


@pytest.mark.parametrize("change_db", [-20.0, 20.0])
def test_no_gain_is_larger_than_4_db_either_way(change_db):
    wanted = noise()
    made = (wanted * 10 ** (change_db / 20)).astype(np.float32)
    moved_db = rms_db(levelled(made, wanted)) - rms_db(made)
    assert abs(moved_db) == pytest.approx(MOST_DB, abs=0.05)
    assert np.sign(moved_db) == -np.sign(change_db)


def test_silence_is_not_raised():
    wanted = noise()
    made = wanted.copy()
    made[len(made) // 3 : 2 * len(made) // 3] = 0.0
    got = levelled(made, wanted)
    inner = slice(len(made) // 3 + WINDOW, 2 * len(made) // 3 - WINDOW)
    assert np.abs(got[inner]).max() == 0.0
    assert not levelled(np.zeros_like(wanted), wanted).any()
    assert np.isfinite(got).all()


def test_gains_move_slowly_enough_to_be_unheard():
    """A step of 3 dB is made up for over a third of a second, not within a hop."""
    wanted = noise(4.0)
    made = wanted.copy()
    made[len(made) // 2 :] *= np.float32(10 ** (-3 / 20))
    got = levelled(made, wanted)
    width = RATE_HZ // 50
    ratio = got[: len(got) // width * width].reshape(-1, width, 2)
    own = made[: len(made) // width * width].reshape(-1, width, 2)
    gains_db = db(np.sqrt(np.square(ratio).mean((1, 2)) / np.square(own).mean((1, 2))))
    assert np.abs(np.diff(gains_db)).max() < 0.6
    assert gains_db[10] == pytest.approx(0.0, abs=0.1)
    assert gains_db[-10] == pytest.approx(3.0, abs=0.1)


def test_a_sound_shorter_than_a_window_comes_back_as_it_is():
    made, wanted = noise(0.05), noise(0.05, seed=2)
    assert np.array_equal(levelled(made, wanted), made)


@pytest.mark.parametrize("n_channels", [1, 2])
def test_middle_and_sides_and_back(n_channels):
    samples = noise(0.1, n_channels=n_channels)
    there = mid_side(samples)
    assert rms_db(there) == pytest.approx(rms_db(samples), abs=1e-4)
    assert np.abs(mid_side(there) - samples).max() < 1e-7
    if n_channels == 2:
        same = np.repeat(samples[:, :1], 2, axis=1)
        assert not mid_side(same)[:, 1].any()
