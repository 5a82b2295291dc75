"""Moving filters: the slope of the book, silent movement, open means untouched."""

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from segue.render.moving_filter import OPEN_LOWPASS_HZ, highpassed, lowpassed

RATE_HZ = 48_000


def noise(n_frames=RATE_HZ):
    return np.random.default_rng(5).standard_normal((n_frames, 2)).astype(np.float32)


@pytest.mark.parametrize(
    ("filtered", "kind"),
    [pytest.param(lowpassed, "lowpass", id="low"), pytest.param(highpassed, "highpass", id="high")],
)
@pytest.mark.parametrize("cutoff_hz", [60.0, 800.0, 9_000.0])
def test_a_still_filter_is_scipys_butterworth(filtered, kind, cutoff_hz):
    """Reference: scipy.signal.butter, order 4."""
    sound = noise()
    expected = sosfilt(butter(4, cutoff_hz, kind, fs=RATE_HZ, output="sos"), sound, axis=0)
    got = filtered(sound, np.full(len(sound), cutoff_hz), RATE_HZ)
    assert np.abs(got - expected).max() < 1e-4


def test_an_open_filter_changes_nothing():
    sound = noise()
    assert np.array_equal(lowpassed(sound, np.full(len(sound), OPEN_LOWPASS_HZ), RATE_HZ), sound)
    cutoffs = np.concatenate((np.full(RATE_HZ // 2, 20_000.0), np.full(RATE_HZ // 2, 500.0)))
    half = lowpassed(sound, cutoffs, RATE_HZ)
    assert np.array_equal(half[: RATE_HZ // 2], sound[: RATE_HZ // 2])
    assert np.array_equal(highpassed(sound, np.full(len(sound), 20.0), RATE_HZ), sound)


def test_a_sweep_adds_nothing_of_its_own():
    """Modulation side products at least 70 dB below a tone, 8 octaves in 4 s."""
    n_frames = 4 * RATE_HZ
    time_s = np.arange(n_frames) / RATE_HZ
    tone_hz = 200.0
    tone = np.sin(2 * np.pi * tone_hz * time_s)[:, None].astype(np.float32)
    cutoffs = 60.0 * 2 ** (8 * time_s / 4)
    out = lowpassed(tone, cutoffs, RATE_HZ)[:, 0].astype(np.float64)
    spectrum = np.abs(np.fft.rfft(out * np.blackman(n_frames)))
    hertz = np.fft.rfftfreq(n_frames, 1 / RATE_HZ)
    beside = spectrum[np.abs(hertz - tone_hz) > 50].max()
    assert 20 * np.log10(beside / spectrum.max()) < -70
