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
from segue.score.tones import (
    HOP_S,
    N_PARTIALS,
    TARGET_RATE_HZ,
    Tones,
    clarity,
    heard_tones,
    interval_vector,
    key_fit,
    key_place,
    power_to_db,
    reduced,
    scale_share,
    side_spectra,
)
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


def sines(*parts, rate_hz=24_000, length_s=2.0):
    """Both channels of some sines, each by its frequency and its amplitude."""
    times_s = np.arange(round(length_s * rate_hz)) / rate_hz
    sound = sum(size * np.sin(2 * np.pi * hz * times_s + 0.3) for hz, size in parts)
    return Clip(samples=np.stack([sound, sound], axis=1).astype(np.float32), rate_hz=rate_hz)


BIN_HZ = 12_000 / 4096  # of a third of a second at the rate at which sides are read


@pytest.mark.parametrize("rate_hz", [12_000, 24_000, 44_100, 48_000])
def test_a_side_that_is_read_at_a_lower_rate_is_neither_moved_nor_coloured(rate_hz):
    clip = sines((3_000.0, 0.5), rate_hz=rate_hz, length_s=0.1001)
    sound, read_hz = reduced(clip)
    assert abs(read_hz - TARGET_RATE_HZ) < 1_000
    step = round(rate_hz / read_hz)
    assert len(sound) == -(-clip.n_frames // step)
    inner = slice(20, -20)
    assert np.allclose(sound[inner], clip.samples[::step, 0][inner], atol=2e-3)


@pytest.mark.parametrize(("hz", "kept"), [(4_000.0, 1.0), (5_100.0, 0.5), (6_900.0, 0.0)])
def test_what_lies_above_the_lower_rate_does_not_fold_back(hz, kept):
    sound, _ = reduced(sines((hz, 1.0), rate_hz=48_000))
    assert np.sqrt(2 * np.mean(sound[100:-100] ** 2)) == pytest.approx(kept, abs=0.02)


def test_levels_of_a_side_are_those_of_its_tones_on_every_hop():
    # Harris 1978, Proceedings of the IEEE 66(1): a Hann window is as wide as 1.5 bins
    spectra = side_spectra(sines((140.0, 0.2), (160.0, 0.4)))
    assert np.allclose(np.diff(spectra.times_s), 0.17)
    assert spectra.times_s[0] == 0.0
    assert len(spectra.times_s) == len(spectra.level_db) == 12
    inner = slice(2, -2)
    whole_db, low_db = (10 * np.log10(1.5 * power) for power in (0.2**2 + 0.4**2, 0.2**2))
    assert np.allclose(spectra.level_db[inner], whole_db, atol=0.1)
    assert np.allclose(spectra.low_db[inner], low_db, atol=0.1)  # kick and bass lie below 150 Hz


def test_a_hop_is_told_at_its_middle():
    clip = sines((440.0, 0.5))
    samples = np.where((np.abs(np.arange(clip.n_frames) / 24_000 - 1.02) < 0.1)[:, None],
                       clip.samples, 0.0)  # fmt: skip
    spectra = side_spectra(Clip(samples=samples.astype(np.float32), rate_hz=24_000))
    assert spectra.times_s[spectra.level_db.argmax()] == pytest.approx(1.02, abs=1e-6)
    assert spectra.level_db[5] == pytest.approx(spectra.level_db[7], abs=0.1)
    assert (spectra.level_db[[0, 1, 2, 10, 11]] == -120.0).all()


def test_power_is_told_in_decibels_down_to_the_floor():
    assert power_to_db([2.0, 1.0, 1e-11, 1e-13, 0.0]).round(2).tolist() == [
        3.01, 0.0, -110.0, -120.0, -120.0,
    ]  # fmt: skip


def test_partials_are_placed_between_the_bins():
    tones = ((441.0, 0.5), (887.3, 0.3), (1762.9, 0.2))
    spectra = side_spectra(sines(*tones))
    hop = 5
    order = np.argsort(-spectra.partial_amplitude[hop])[:3]
    assert spectra.partial_hz[hop, order] == pytest.approx([hz for hz, _ in tones], abs=0.06)
    # between two bins a Hann window sees 1.42 dB too little at the most (Harris 1978)
    for found, (_, size) in zip(spectra.partial_amplitude[hop, order], tones, strict=True):
        assert 10 ** (-1.43 / 20) * size <= found <= 1.001 * size
    assert spectra.partial_hz.shape == (12, N_PARTIALS)


@pytest.mark.parametrize(("below_db", "n_partials"), [(44.0, 2), (46.0, 1)])
def test_a_partial_far_below_the_strongest_is_left_out(below_db, n_partials):
    parts = ((150 * BIN_HZ, 0.5), (300 * BIN_HZ, 0.5 * 10 ** (-below_db / 20)))
    assert (side_spectra(sines(*parts)).partial_amplitude[5] > 0).sum() == n_partials


@pytest.mark.parametrize(("midi", "n_partials"), [(32, 1), (34, 2)], ids=["Ab1", "Bb1"])
def test_no_partial_lies_below_a1(midi, n_partials):
    low_hz = 440.0 * 2 ** ((midi - 69) / 12)
    amplitude = side_spectra(sines((low_hz, 0.3), (440.0, 0.3))).partial_amplitude[5]
    assert (amplitude > 0.2).sum() == n_partials


def test_of_many_partials_the_strongest_are_kept():
    sizes = 0.05 * 0.93 ** np.random.default_rng(3).permutation(30)
    parts = [((100 + 40 * n) * BIN_HZ, size) for n, size in enumerate(sizes)]
    spectra = side_spectra(sines(*parts))
    loudest = sorted(hz for hz, size in parts if size > sorted(sizes)[9])
    assert len(loudest) == N_PARTIALS
    assert np.sort(spectra.partial_hz[5]) == pytest.approx(loudest, abs=0.5)


def test_mean_chroma_is_of_the_steps_whose_middles_lie_between_two_times():
    rows = np.array([chroma_of(n) for n in range(4)])
    rows[2] = 0.0
    tones = Tones(times_s=np.array([0.0, 1.0, 2.0, 3.0]), chroma=rows)
    assert tones.mean_chroma(1.0, 3.0).tolist() == rows[1].tolist()  # a rest is no chord
    assert tones.mean_chroma(0.0, 2.0).tolist() == ((rows[0] + rows[1]) / 2).tolist()
    assert not tones.mean_chroma(1.5, 2.5).any()
    assert tones.mean_chroma(1.5, 2.5).shape == (12,)


def test_what_is_remembered_comes_and_goes_with_its_time_constant():
    rows = np.repeat(np.array([chroma_of(0), np.zeros(12)]), 40, axis=0)
    carried = Tones(times_s=np.arange(80) * HOP_S, chroma=rows).remembered(2.0)
    for step in (0, 7, 39):
        assert carried[step, 0] == pytest.approx(1 - np.exp(-(step + 1) * HOP_S / 2.0))
    assert carried[47, 0] == pytest.approx(carried[39, 0] * np.exp(-1.0))
    assert not carried[:, 1:].any()


@pytest.mark.parametrize(
    ("key", "share"), [("C major", 7 / 12), ("F# minor", 8 / 12)], ids=["major", "both sevenths"]
)
def test_a_scale_has_its_share_of_the_twelve(key, share):
    assert float(scale_share(np.full(12, 1 / 12), parse_key(key))) == pytest.approx(share)
    assert float(scale_share(np.zeros(12), parse_key(key))) == 1.0
    tonic = parse_key(key).tonic
    inside = (0, 2, 4, 5, 7, 9, 11) if "major" in key else (0, 2, 3, 5, 7, 8, 10, 11)
    found = scale_share(np.eye(12), parse_key(key))
    assert np.flatnonzero(found).tolist() == sorted((tonic + degree) % 12 for degree in inside)


@pytest.mark.parametrize(("below_db", "is_heard"), [(38.0, True), (42.0, False)])
def test_notes_far_below_the_loud_ones_are_no_notes(below_db, is_heard):
    plan = plan_of(Recipe())
    clip = sines((440.0, 0.5), length_s=4.0)
    size = np.where(np.arange(clip.n_frames) < 60_000, 1.0, 10 ** (-below_db / 20))
    music = Clip(samples=(clip.samples * size[:, None]).astype(np.float32), rate_hz=24_000)
    tones = heard_tones(SimpleNamespace(plan=plan, music=music))
    assert np.allclose(np.diff(tones.times_s), HOP_S)
    late = tones.chroma[(tones.times_s > 3.2) & (tones.times_s < 3.6)]
    assert np.allclose(late.sum(axis=1), 1.0 if is_heard else 0.0)
    silent = Clip(samples=1e-6 * clip.samples, rate_hz=24_000)
    assert not heard_tones(SimpleNamespace(plan=plan, music=silent)).chroma.any()


@pytest.mark.parametrize(("cents", "n_readings"), [(9.0, 1), (11.0, 2), (-11.0, 2)])
def test_songs_tuned_nearly_alike_are_read_once(monkeypatch, cents, n_readings):
    read = []

    def listened(thin, *, tuning_cents, hop_s):
        read.append(tuning_cents)
        return np.arange(8) * hop_s, np.ones((8, 12))

    monkeypatch.setattr("segue.score.tones.chroma_of", listened)
    plan = replace(plan_of(Recipe()), key_from_tuning_cents=cents)
    heard_tones(SimpleNamespace(plan=plan, music=sines((440.0, 0.5))))
    assert read == [0.0, cents][:n_readings]
