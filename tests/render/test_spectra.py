"""Overlapping spectra: what goes in comes out, in blocks as at once."""

import numpy as np
import pytest

from segue.render import spectra
from segue.render.spectra import OVERLAP, SQUARES, Added, Frames, hann, spectra_at

WINDOW = 256


def sound(n_frames, n_channels=2, seed=1):
    generator = np.random.default_rng(seed)
    return generator.standard_normal((n_frames, n_channels)).astype(np.float32)


@pytest.mark.parametrize("n_channels", [1, 2])
@pytest.mark.parametrize("n_frames", [1, 63, 64, 65, 256, 1_000, 20_000])
def test_gains_of_one_give_the_sound_back(n_frames, n_channels):
    samples = sound(n_frames, n_channels)
    frames = Frames(samples, WINDOW)
    back = frames.times(np.ones((1, frames.n_hops, frames.n_bins), np.float32))
    assert back.shape == samples.shape
    assert back.dtype == np.float32
    assert np.abs(back - samples).max() < 5e-6


def test_a_gain_is_a_gain_and_each_channel_has_its_own():
    samples = sound(3_000)
    frames = Frames(samples, WINDOW)
    gains = np.ones((2, frames.n_hops, frames.n_bins), np.float32)
    gains[0], gains[1] = 0.5, 0.0
    back = frames.times(gains)
    assert np.abs(back[:, 0] - 0.5 * samples[:, 0]).max() < 5e-6
    assert np.abs(back[:, 1]).max() < 1e-7


def test_a_bin_that_is_taken_out_is_gone_and_others_stay():
    n = np.arange(8_192)
    low, high = (np.sin(2 * np.pi * bin_ * n / WINDOW) for bin_ in (10, 60))
    frames = Frames((low + high).astype(np.float32)[:, None], WINDOW)
    gains = np.ones((1, frames.n_hops, frames.n_bins), np.float32)
    gains[:, :, 50:70] = 0.0
    back = frames.times(gains)[WINDOW:-WINDOW, 0]
    assert np.abs(back - low[WINDOW:-WINDOW]).max() < 1e-5


def test_every_frame_lies_under_as_many_windows():
    """Squared Hann windows a quarter apart add up to `SQUARES` everywhere."""
    squares = np.square(hann(WINDOW).astype(np.float64)).reshape(OVERLAP, -1).sum(axis=0)
    assert squares == pytest.approx(SQUARES, abs=1e-6)


def test_blocks_hold_every_hop_once_and_are_the_spectra_themselves():
    """numpy's own transform, hop by hop, is the reference."""
    samples = sound(9_000)
    frames = Frames(samples, WINDOW)
    padded = np.pad(samples, ((WINDOW, 2 * WINDOW), (0, 0))).astype(np.float64)
    met = []
    for hops, block in frames.blocks():
        for hop, spectrum in zip(
            range(hops.start, hops.stop), np.swapaxes(block, 0, 1), strict=True
        ):
            # hop 0 is centred one hop before the first frame
            first = WINDOW + (hop - OVERLAP + 1) * frames.hop
            cut = padded[first : first + WINDOW] * hann(WINDOW)[:, None]
            assert spectrum == pytest.approx(np.fft.rfft(cut, axis=0).T, abs=1e-3)
            met.append(hop)
    assert met == list(range(frames.n_hops))


def test_the_size_of_blocks_changes_nothing(monkeypatch):
    samples = sound(12_345)
    gains = np.random.default_rng(3).random((1, Frames(samples, WINDOW).n_hops, 129), np.float32)
    one = Frames(samples, WINDOW).times(gains)
    monkeypatch.setattr(spectra, "BLOCK_HOPS", 5)
    other = Frames(samples, WINDOW).times(gains)
    assert np.abs(one - other).max() < 2e-6


def test_hops_may_be_added_in_any_order():
    samples = sound(2_000)
    planar, starts = np.ascontiguousarray(samples.T), np.arange(0, 1_600, WINDOW // OVERLAP)
    every = spectra_at(planar, starts, WINDOW)
    forwards, backwards = (Added(2, len(starts), WINDOW) for _ in range(2))
    for hop in range(len(starts)):
        forwards.add(hop, every[:, hop : hop + 1].copy())
    for hop in reversed(range(len(starts))):
        backwards.add(hop, every[:, hop : hop + 1].copy())
    whole = slice(WINDOW, 1_500)
    for added in (forwards, backwards):
        assert added.sound(0, 1_600)[whole] == pytest.approx(samples[whole], abs=5e-6)


def test_the_window_is_periodic():
    """One period of a raised cosine: it starts at nought and does not end there."""
    n = np.arange(WINDOW)
    assert hann(WINDOW) == pytest.approx(0.5 - 0.5 * np.cos(2 * np.pi * n / WINDOW), abs=1e-7)
