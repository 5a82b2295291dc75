"""Riser, swell, impact, reversed tail: they grow or die away where they should, without a click."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs, momentary_lufs
from segue.plan.layer import ReversedLayer, SweepLayer
from segue.render.layer_sound import ruler_of
from segue.render.sweep import STOPS_BEFORE_S, SWELL_RINGS_S, reversed_sound, sweep_sound
from tests.render.conftest import RATE_HZ, music, song
from tests.render.measure import db, pitch_hz, rms_db, spectrum_of

RATES = [22_050, 48_000, 96_000]


def sweep(kind, tone_midi=None):
    return SweepLayer(name="s", sweep=kind, start_beat=4, end_beat=12, tone_midi=tone_midi)


def swept(plan, kind, rate_hz=RATE_HZ, tone_midi=None):
    layer = sweep(kind, tone_midi)
    made = sweep_sound(layer, plan, rate_hz, ruler_of(plan, rate_hz).n_frames)
    end = round(plan.seconds_at(layer.end_beat) * rate_hz) - made.first_frame
    return made.samples, end


def centroid_hz(sound, rate_hz):
    hertz, spectrum = spectrum_of(sound, rate_hz)
    return float(np.average(hertz, weights=spectrum**2))


def levels_db(sound, n_parts):
    return np.array([rms_db(part) for part in np.array_split(sound, n_parts)])


@pytest.mark.parametrize("rate_hz", RATES)
def test_a_riser_climbs_grows_and_stops_short(plan, rate_hz):
    sound, end = swept(plan, "riser", rate_hz)
    stop = end - round(STOPS_BEFORE_S * rate_hz)
    assert not sound[stop:].any()
    assert rms_db(sound[stop - rate_hz // 20 : stop - rate_hz // 50]) > rms_db(sound) + 3
    parts = np.array_split(sound[:stop], 8)
    climb = [centroid_hz(part, rate_hz) for part in parts]
    assert climb == sorted(climb)
    if rate_hz > 44_100:
        assert 2.0 < np.log2(climb[-1] / climb[0]) < 3.5
    assert np.all(np.diff(levels_db(sound[:stop], 8)) > 0)


@pytest.mark.parametrize("rate_hz", RATES)
def test_a_swell_peaks_at_its_end_and_rings_on(plan, rate_hz):
    sound, end = swept(plan, "swell", rate_hz)
    power = np.convolve(np.square(sound).sum(axis=1), np.ones(rate_hz // 100), "same")
    assert abs(int(np.argmax(power)) - end) < 0.06 * rate_hz
    assert np.all(np.diff(levels_db(sound[:end], 8)) > 2)
    assert len(sound) == end + round(SWELL_RINGS_S * rate_hz)
    ring = levels_db(sound[end:], 5)
    assert np.all(np.diff(ring) < 0)
    assert ring[1] > rms_db(sound[end - rate_hz // 10 : end]) - 30


def test_a_swell_is_inharmonic_and_dense(plan):
    """Many lines, no comb: no lag at which the sound repeats itself."""
    sound, end = swept(plan, "swell")
    late = sound[end - RATE_HZ // 2 : end, 0].astype(np.float64)
    power = np.abs(np.fft.rfft(late, 2 * len(late))) ** 2
    echo = np.fft.irfft(power)
    lags = echo[RATE_HZ // 2_000 : RATE_HZ // 20] / echo[0]  # 20 Hz to 2 kHz
    assert np.abs(lags).max() < 0.35


@pytest.mark.parametrize("rate_hz", RATES)
def test_an_impact_strikes_on_its_first_beat_and_dies_away_darker(plan, rate_hz):
    sound, _ = swept(plan, "impact", rate_hz, tone_midi=31.0)
    power = np.convolve(np.square(sound).sum(axis=1), np.ones(rate_hz // 100), "same")
    assert int(np.argmax(power)) < 0.04 * rate_hz
    assert np.all(np.diff(levels_db(sound[: 3 * rate_hz // 2], 6)) < -1)
    assert centroid_hz(sound[: rate_hz // 4], rate_hz) > 1.5 * centroid_hz(
        sound[rate_hz // 2 : rate_hz], rate_hz
    )


def test_an_impact_falls_to_its_tone(plan):
    """G1 is 49 Hz."""
    sound, _ = swept(plan, "impact", 22_050, tone_midi=31.0)
    part = sound[4_000:14_000, 0] * np.hanning(10_000)
    hertz = np.fft.rfftfreq(8 * len(part), 1 / 22_050)
    spectrum = np.abs(np.fft.rfft(part, 8 * len(part)))
    low = hertz < 150
    assert hertz[low][np.argmax(spectrum[low])] == pytest.approx(49.0, rel=0.04)


def test_a_riser_arrives_at_its_tone(plan):
    """The tone alone: A4 is 440 Hz, an octave lower at the start."""
    sound, end = swept(plan, "riser", tone_midi=69.0)
    bare, _ = swept(plan, "riser")
    assert pitch_hz(sound[end - 9_000 : end - 1_500], RATE_HZ, 440.0) == pytest.approx(
        440, rel=0.02
    )
    hertz, with_tone = spectrum_of(sound[: RATE_HZ // 2], RATE_HZ)
    near = np.abs(hertz - 225) < 15
    _, without = spectrum_of(bare[: RATE_HZ // 2], RATE_HZ)
    assert db(with_tone[near].max() / without[near].max()) > 6


@pytest.mark.parametrize("kind", ["riser", "swell", "impact"])
def test_sweeps_are_at_level_wide_clean_and_repeatable(plan, kind):
    tone_midi = None if kind == "impact" else 69.0  # its tone is in the middle
    sound, _ = swept(plan, kind, tone_midi=tone_midi)
    _, lufs = momentary_lufs(Clip(samples=sound, rate_hz=RATE_HZ))
    assert lufs.max() == pytest.approx(plan.target_lufs, abs=0.1)
    assert abs(np.corrcoef(sound.T)[0, 1]) < 0.6
    assert np.abs(sound[0]).max() < 1e-4
    assert np.abs(sound[-1]).max() < 1e-4
    again, _ = swept(plan, kind, tone_midi=tone_midi)
    assert np.array_equal(sound, again)
    other, _ = swept(replace(plan, seed=9), kind, tone_midi=tone_midi)
    assert not np.array_equal(sound, other)


@pytest.mark.parametrize("kind", ["riser", "swell", "impact"])
@pytest.mark.parametrize("rate_hz", RATES)
def test_sweeps_have_next_to_nothing_at_the_top_of_the_band(plan, kind, rate_hz):
    """Above 0.47 of the rate only what could alias would be."""
    sound, _ = swept(plan, kind, rate_hz, tone_midi=69.0)
    hertz, spectrum = spectrum_of(sound, rate_hz)
    top = spectrum[hertz > 0.47 * rate_hz]
    assert 10 * np.log10(np.square(top).sum() / np.square(spectrum).sum()) < -40


def reversed_of(plan, edge, **changes):
    layer = ReversedLayer(
        name="back",
        song="incoming",
        source_s=2.0,
        length_s=0.8,
        start_beat=6,
        end_beat=12,
    )
    return reversed_sound(replace(layer, **changes), edge, plan, ruler_of(plan, edge.rate_hz), 0.0)


@pytest.mark.parametrize("rate_hz", RATES)
def test_a_reversed_tail_grows_into_its_end(plan, rate_hz):
    edge = song(music(6.0, 100.0, rate_hz=rate_hz), rate_hz=rate_hz)
    made = reversed_of(plan, edge)
    end = round(plan.seconds_at(12) * rate_hz)
    assert made.first_frame + len(made.samples) == end
    assert np.all(np.diff(levels_db(made.samples, 6)) > 3)
    assert np.abs(made.samples[-1]).max() < 1e-3
    excerpt = Clip(samples=edge.mix.samples[2 * rate_hz : round(2.8 * rate_hz)], rate_hz=rate_hz)
    _, lufs = momentary_lufs(Clip(samples=made.samples, rate_hz=rate_hz))
    assert lufs.max() == pytest.approx(integrated_lufs(excerpt), abs=0.1)
    assert not made.notes


def test_a_reversed_tail_of_a_sparse_excerpt_has_no_hole_at_its_end(plan):
    """A hit in the middle of silence still grows to the very end."""
    sparse = np.zeros((6 * RATE_HZ, 2))
    hit = round(2.4 * RATE_HZ)
    sparse[hit : hit + 4_000] = 0.5 * np.random.default_rng(1).standard_normal((4_000, 2))
    made = reversed_of(plan, song(sparse)).samples
    levels = levels_db(made, 24)
    assert levels[-1] >= levels.max() - 3


def test_a_reversed_tail_is_wide_repeatable_and_says_what_is_missing(plan):
    edge = song(music(6.0, 100.0))
    made = reversed_of(plan, edge)
    assert abs(np.corrcoef(made.samples.T)[0, 1]) < 0.6
    assert np.array_equal(made.samples, reversed_of(plan, edge).samples)
    late = reversed_of(plan, edge, source_s=5.6)
    assert any("0.4 s that were not decoded" in note for note in late.notes)
    drums = reversed_of(plan, edge, roles=("drums",))
    assert any("one mix" in note for note in drums.notes)
