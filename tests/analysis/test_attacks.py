"""Attacks of sounds that start at a known frame."""

import numpy as np
import pytest

from segue.analysis.onsets import RATE_HZ, onset_curves
from segue.analysis.placing import STEP_S, attack_curve, attacks_near


@pytest.mark.parametrize("start_s", [0.2, 0.3007, 0.4411], ids="{:g} s".format)
@pytest.mark.parametrize("before", [0.0, 0.02], ids=["from silence", "over a tone"])
def test_attack_is_found_at_its_start(start_s, before):
    at_s = np.arange(RATE_HZ) / RATE_HZ
    burst = np.where(at_s >= start_s, np.exp(-(at_s - start_s) / 0.05), 0.0)
    rng = np.random.default_rng(1)
    sound = burst * rng.standard_normal(RATE_HZ) + before * np.sin(2 * np.pi * 220 * at_s)
    curve = attack_curve(sound.astype(np.float32), after_s=0.003, before_s=0.01)
    times_s, salience = attacks_near(curve, np.array([start_s + 0.012]), within_s=0.035)
    assert times_s[0] == pytest.approx(start_s, abs=2 * STEP_S)
    assert salience[0] > 0


def test_onset_strength_does_not_depend_on_gain():
    rng = np.random.default_rng(3)
    sound = rng.standard_normal(RATE_HZ * 3) * (np.arange(RATE_HZ * 3) % 11_025 < 2000)
    loud = onset_curves(sound.astype(np.float32))
    quiet = onset_curves((0.01 * sound).astype(np.float32))
    np.testing.assert_allclose(loud.bands, quiet.bands, rtol=1e-3, atol=1e-3)


def test_a_cut_into_sound_is_no_onset():
    rng = np.random.default_rng(3)
    noise = rng.standard_normal(RATE_HZ * 2).astype(np.float32)
    cut = onset_curves(noise, starts_cut=True).total
    whole = onset_curves(noise, starts_cut=False).total
    assert cut[:5].max() == 0
    assert whole[:5].max() > whole[50:150].max()
