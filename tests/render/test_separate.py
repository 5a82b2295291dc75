"""The drums of a mix: a kick is kept, what sounds on is not; a kit built here is the truth."""

import numpy as np
import pytest
from scipy.ndimage import median_filter
from scipy.signal import butter, sosfilt

from segue.render.separate import median_along, percussion, separated

RATE_HZ = 44_100
BANDS_HZ = ((30, 120), (120, 400), (400, 2_000), (2_000, 12_000))
KEPT_DB = 4.0
"""Of each band of the drums no more is lost."""


def decaying(length_s, rate):
    return np.exp(-np.arange(round(length_s * RATE_HZ)) / RATE_HZ * rate)


def kit(n_frames, seed=0):
    """Kick and snare by turns at 100 BPM, a hat on every eighth."""
    generator = np.random.default_rng(seed)
    out = np.zeros(n_frames + RATE_HZ)
    time_s = np.arange(round(0.35 * RATE_HZ)) / RATE_HZ
    kick = np.sin(2 * np.pi * np.cumsum(50 + 70 * np.exp(-time_s * 40)) / RATE_HZ)
    kick *= decaying(0.35, 12)
    high = butter(4, 7_000, "high", fs=RATE_HZ, output="sos")
    for eighth in range(int(n_frames / RATE_HZ / 0.3)):
        at = round((0.1 + eighth * 0.3) * RATE_HZ)
        hat = 0.25 * sosfilt(high, generator.standard_normal(3_500) * decaying(3_500 / RATE_HZ, 60))
        out[at : at + len(hat)] += hat
        if eighth % 4 == 0:
            out[at : at + len(kick)] += kick
        elif eighth % 4 == 2:
            body = np.sin(2 * np.pi * 190 * np.arange(11_000) / RATE_HZ) * decaying(
                11_000 / RATE_HZ, 25
            )
            wires = generator.standard_normal(11_000) * decaying(11_000 / RATE_HZ, 22)
            out[at : at + 11_000] += 0.5 * body + 0.6 * wires
    return 0.1 * out[:n_frames] / np.std(out[:n_frames])


def chords(n_frames):
    """Two chords by turns, with a bass, held for 1.2 s each."""
    time_s = np.arange(n_frames) / RATE_HZ
    out = np.zeros(n_frames)
    for notes, phase in (
        ((82.4, 164.8, 247.0, 329.6, 493.9), 0.0),
        ((73.4, 146.8, 220.0, 440.0), 1.2),
    ):
        swell = 0.5 + 0.5 * np.tanh(8 * np.sin(2 * np.pi * (time_s - phase) / 2.4))
        out += swell * sum(np.sin(2 * np.pi * hz * time_s) for hz in notes)
    return 0.11 * out / np.std(out)


def kept_db(truth, other, found):
    """How much of the drums, and of the chords, is in what was found, band by band."""
    rows = []
    for low, high in BANDS_HZ:
        band = butter(3, (low, high), "band", fs=RATE_HZ, output="sos")
        sources = np.stack([sosfilt(band, truth), sosfilt(band, other)], axis=1)
        shares = np.linalg.lstsq(sources, sosfilt(band, found), rcond=None)[0]
        rows.append(20 * np.log10(np.abs(shares) + 1e-6))
    return np.array(rows)


@pytest.fixture(scope="module")
def parts():
    n_frames = 8 * RATE_HZ
    drums, held = kit(n_frames), chords(n_frames)
    mix = np.repeat((drums + held)[:, None], 2, axis=1).astype(np.float32)
    return drums, held, mix


def test_every_band_of_the_drums_is_kept(parts):
    drums, held, mix = parts
    rows = kept_db(drums, held, percussion(mix, RATE_HZ)[:, 0].astype(float))
    assert rows[:, 0].min() >= -KEPT_DB
    assert rows[0, 1] <= -6.0  # and the bass is not taken for a kick


def test_the_kick_is_lost_by_one_pair_of_medians_for_all_bands(parts):
    """Why there are two: the plain separation of [Fit10]."""
    drums, held, mix = parts
    plain = kept_db(drums, held, separated(mix, "percussive", RATE_HZ)[:, 0].astype(float))
    own = kept_db(drums, held, percussion(mix, RATE_HZ)[:, 0].astype(float))
    assert own[0, 0] - plain[0, 0] >= 3.0


@pytest.mark.parametrize("n_frames", [0, 1, 200, 5_000])
@pytest.mark.parametrize("rate_hz", [8_000, 12_000, 48_000])
def test_any_length_and_rate_comes_back_as_long(n_frames, rate_hz):
    generator = np.random.default_rng(1)
    sound = generator.standard_normal((n_frames, 2)).astype(np.float32)
    found = percussion(sound, rate_hz)
    assert found.shape == sound.shape
    assert np.isfinite(found).all()


def test_silence_has_no_drums():
    assert not np.abs(percussion(np.zeros((20_000, 2), np.float32), 44_100)).max() > 1e-6


@pytest.mark.parametrize(("n_rows", "n_columns", "width"), [(1, 40, 5), (37, 90, 31), (3, 9, 17)])
def test_running_medians_are_those_of_scipy(n_rows, n_columns, width):
    """scipy.ndimage.median_filter, with the ends repeated; rows a thousand times apart."""
    rng = np.random.default_rng(n_rows)
    values = (rng.random((n_rows, n_columns)) + 1000.0 * np.arange(n_rows)[:, None]) ** 2
    wanted = median_filter(values, (1, width), mode="nearest")
    assert np.array_equal(median_along(values, width), wanted)
