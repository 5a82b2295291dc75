"""Partials of a moment are found where and as strong as they are, and the air between them."""

import numpy as np
import pytest

from segue.render.frozen_partials import MOMENT_S, partials_of

RATE_HZ = 12_000
N_FRAMES = 2 * round(MOMENT_S * RATE_HZ / 2)
AT_S = (np.arange(N_FRAMES) - N_FRAMES // 2) / RATE_HZ


def moment(*parts, noise=0.0, seed=3):
    """Sines, each by frequency, level left and right, and phase at the middle; and noise."""
    sound = noise * np.random.default_rng(seed).standard_normal((N_FRAMES, 2))
    for hertz, left, right, phase in parts:
        wave = np.cos(2 * np.pi * hertz * AT_S + phase)
        sound += wave[:, None] * np.array([left, right])
    return sound.astype(np.float32)


def test_each_partial_has_its_frequency_level_and_phase():
    parts = ((220.3, 0.5, 0.1, 0.4), (331.9, 0.2, 0.2, -1.2), (1_234.5, 0.05, 0.3, 2.9))
    found = partials_of(moment(*parts, noise=0.003), RATE_HZ)
    assert found.hertz == pytest.approx([part[0] for part in parts], abs=0.05)
    for size, (_, left, right, phase) in zip(found.amplitudes, parts, strict=True):
        assert np.abs(size) == pytest.approx([left, right], rel=0.02)
        assert np.angle(size * np.exp(-1j * phase)) == pytest.approx([0.0, 0.0], abs=0.03)
    assert found.air_window == N_FRAMES
    assert found.air.shape == (N_FRAMES // 2 + 1, 2)


@pytest.mark.parametrize(("hertz", "is_found"), [(28.0, False), (33.0, True)])
def test_nothing_is_looked_for_below_30_hz(hertz, is_found):
    parts = (hertz, 0.3, 0.3, 0.0), (440.0, 0.3, 0.3, 0.0)
    found = partials_of(moment(*parts, noise=0.01), RATE_HZ).hertz
    assert (len(found) == 2) is is_found
    air = partials_of(moment(noise=0.1), RATE_HZ).air
    bin_hz = RATE_HZ / N_FRAMES
    assert not air[: int(30.0 / bin_hz)].any()
    assert air[int(30.0 / bin_hz) + 2 :].all()


@pytest.mark.parametrize(("below_db", "is_found"), [(69.0, True), (71.0, False)])
def test_a_partial_70_db_below_the_loudest_is_none(below_db, is_found):
    size = 0.5 * 10 ** (-below_db / 20)
    bin_hz = RATE_HZ / N_FRAMES
    found = partials_of(
        moment((150 * bin_hz, 0.5, 0.5, 0.0), (300 * bin_hz, size, size, 0.0)), RATE_HZ
    )
    near = np.abs(found.hertz - 300 * bin_hz) < 1.0
    assert bool(near.any()) is is_found


def test_only_the_loudest_240_partials_are_kept():
    bin_hz = RATE_HZ / N_FRAMES
    sizes = np.where(np.arange(245) % 49 == 20, 0.008, 0.01)
    parts = [((20 + 8 * n) * bin_hz, size, size, 0.0) for n, size in enumerate(sizes)]
    found = partials_of(moment(*parts), RATE_HZ).hertz
    left_out = [part[0] for part in parts if np.abs(found - part[0]).min() > 1.0]
    assert len(found) == 240
    assert left_out == [part[0] for part in parts if part[1] < 0.01]


def test_air_is_as_strong_as_the_noise_between_the_partials_on_each_side():
    noise = moment(noise=0.02)
    noise[:, 1] *= 0.5
    left, right = np.median(partials_of(noise, RATE_HZ).air[200:], axis=0)
    assert left == pytest.approx(0.02, rel=0.2)
    assert right == pytest.approx(0.01, rel=0.2)
    both = noise + moment((1_000.0, 0.5, 0.5, 0.3), (1_500.0, 0.4, 0.4, 0.3))
    with_tones = partials_of(both, RATE_HZ)
    assert with_tones.hertz[np.argsort(-np.abs(with_tones.amplitudes[:, 0]))[:2]] == pytest.approx(
        [1_000.0, 1_500.0], abs=0.2
    )
    bin_hz = RATE_HZ / N_FRAMES
    for hertz in (1_000.0, 1_500.0):  # a tone leaves no more of the air than there was
        near = slice(round(hertz / bin_hz) - 3, round(hertz / bin_hz) + 4)
        assert with_tones.air[near, 0].mean() == pytest.approx(
            partials_of(noise, RATE_HZ).air[near, 0].mean(), rel=0.25
        )


def test_noise_is_no_partial():
    found = partials_of(moment(noise=0.1), RATE_HZ)
    few = len(found.hertz)
    tone = partials_of(moment((700.0, 0.1, 0.1, 0.0), noise=0.1), RATE_HZ)
    assert np.abs(tone.hertz - 700.0).min() < 0.5
    assert few < 0.2 * N_FRAMES / 2 / 3
