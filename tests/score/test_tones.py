"""Places in the Tonal Interval Space against published check values.

G. Bernardes et al., "A multi-level tonal interval space for modelling pitch relatedness and
musical consonance", Journal of New Music Research 45(4), 2016: values computed from the paper's
formula with its audio weights.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.music.key import ALL_KEYS, parse_key
from segue.music.profiles import KRUMHANSL_KESSLER, profile_matrix
from segue.score.tones import clarity, heard_tones, interval_vector, key_fit, key_place
from tests.score.synthetic import Recipe, plan_of

MAJOR, MINOR = (0, 4, 7), (0, 3, 7)


def chroma_of(*pitch_classes):
    chroma = np.zeros(12)
    chroma[[p % 12 for p in pitch_classes]] = 1.0 / len(pitch_classes)
    return chroma


def triad(root, shape):
    return chroma_of(*(root + d for d in shape))


def test_a_song_that_is_tuned_otherwise_is_read_at_its_own_tuning():
    plan = replace(plan_of(Recipe()), key_from_tuning_cents=45.0)
    time_s = np.arange(round(plan.duration_s * 24_000)) / 24_000
    is_old = time_s < plan.seconds_at(plan.exit_beat)
    sharp = np.where(is_old, 2 ** (45 / 1200), 1.0)
    notes_hz = 440.0 * 2 ** ((np.array([64, 67, 71]) - 69) / 12)  # E minor
    phases = 2 * np.pi * np.cumsum(sharp / 24_000)
    sound = sum(np.sin(hertz * phases) for hertz in notes_hz) / 6
    music = Clip(samples=np.stack([sound, sound], axis=1).astype(np.float32), rate_hz=24_000)
    tones = heard_tones(SimpleNamespace(plan=plan, music=music))
    old = tones.chroma[(tones.times_s > 2) & (tones.times_s < plan.seconds_at(plan.exit_beat) - 1)]
    assert np.allclose(old.sum(axis=1), 1.0)
    assert (old[:, [4, 7, 11]] > 0.25).all()  # a third each, and none of it beside


@pytest.mark.parametrize(
    ("root", "shape", "distance"),
    [
        pytest.param(9, MINOR, 13.397, id="A minor"),
        pytest.param(0, MINOR, 14.965, id="C minor"),
        pytest.param(4, MINOR, 14.965, id="E minor"),
        pytest.param(5, MAJOR, 20.698, id="F major"),
        pytest.param(7, MAJOR, 20.698, id="G major"),
        pytest.param(2, MAJOR, 25.053, id="D major"),
        pytest.param(1, MAJOR, 27.009, id="Db major"),
        pytest.param(6, MAJOR, 25.371, id="F# major"),
    ],
)
def test_distance_of_triads_from_c_major(root, shape, distance):
    step = interval_vector(triad(root, shape)) - interval_vector(triad(0, MAJOR))
    assert np.linalg.norm(step) == pytest.approx(distance, abs=1e-3)


@pytest.mark.parametrize(
    ("chroma", "dissonance"),
    [
        pytest.param(chroma_of(0), 0.0, id="one note"),
        pytest.param(triad(0, MAJOR), 0.4018, id="major triad"),
        pytest.param(triad(0, (0, 4, 7, 10)), 0.4886, id="dominant seventh"),
        pytest.param(chroma_of(0, 2, 4, 5, 7, 9, 11), 0.6841, id="diatonic scale"),
        pytest.param(chroma_of(*range(12)), 1.0, id="all twelve"),
    ],
)
def test_clarity_is_one_minus_the_published_dissonance(chroma, dissonance):
    assert clarity(interval_vector(chroma)) == pytest.approx(1.0 - dissonance, abs=5e-5)


@pytest.mark.parametrize(
    ("key", "correlation"),
    [
        # Krumhansl & Kessler 1982, Psychological Review 89(4): correlations of their profiles
        pytest.param("C major", 1.0, id="itself"),
        pytest.param("G major", 0.591, id="fifth"),
        pytest.param("A minor", 0.651, id="relative"),
        pytest.param("C minor", 0.511, id="parallel"),
        pytest.param("F# major", -0.683, id="tritone"),
    ],
)
def test_key_fit_of_a_published_profile(key, correlation):
    # printed ratings of C major
    c_major = np.array([6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88])
    assert float(key_fit(c_major, parse_key(key))) == pytest.approx(correlation, abs=1.5e-3)


def test_flat_chroma_fits_no_key():
    assert float(key_fit(np.full(12, 1 / 12), parse_key("C major"))) == 0.0


@pytest.mark.parametrize("old", [parse_key("C major"), parse_key("C minor")])
def test_keys_lie_as_far_apart_as_their_key_strengths_correlate(old):
    # Krumhansl and Kessler 1982: a key's strengths are the correlations of its profile with all
    profiles = profile_matrix(KRUMHANSL_KESSLER)
    strengths = np.corrcoef(profiles)
    for new in ALL_KEYS:
        a, b = ALL_KEYS.index(old), ALL_KEYS.index(new)
        apart = np.linalg.norm(key_place(profiles[a]) - key_place(profiles[b]))
        r = np.corrcoef(strengths[a], strengths[b])[0, 1]
        assert apart == pytest.approx(np.sqrt(max(2 * (1 - r), 0.0)), abs=1e-6)
    assert not key_place(np.full(12, 1 / 12)).any()  # all twelve alike state no key
