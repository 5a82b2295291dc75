"""The frozen moment: goes on where the song was, level and wide, bends and thins out."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import momentary_lufs
from segue.plan.layer import FrozenLayer
from segue.render import render_candidate
from segue.render.frozen import LEAD_S, frozen_sound
from segue.render.layer_sound import ruler_of
from tests.render.conftest import RATE_HZ, curve, song
from tests.render.measure import db, only, pitch_hz, rms_db, spectrum_of
from tests.render.test_render_candidate import old_layer

CHORD = (57, 60, 64)  # A minor
MOMENT_S = 6.0


def hertz_of(midi):
    return 440.0 * 2 ** ((midi - 69) / 12)


@cache
def chord_song(rate_hz=RATE_HZ, air=0.002):
    """Organ-like tones, each with harmonics and its own place, and some air."""
    generator = np.random.default_rng(5)
    time_s = np.arange(10 * rate_hz)[:, None] / rate_hz
    sound = air * generator.standard_normal((len(time_s), 2))
    for midi in CHORD:
        for number in range(1, 9):
            turns = 2 * np.pi * generator.random((1, 2))
            sides = generator.uniform(0.5, 1.0, (1, 2))
            partial = np.sin(2 * np.pi * number * hertz_of(midi) * time_s + turns)
            sound += 0.1 * sides * partial / number
    return song(sound, rate_hz=rate_hz)


def layer(**changes):
    base = FrozenLayer(name="held", song="outgoing", source_s=MOMENT_S, start_beat=2, end_beat=18)
    return replace(base, **changes)


def made_of(plan, edge=None, **changes):
    edge = edge or chord_song()
    ruler = ruler_of(plan, edge.rate_hz)
    return frozen_sound(layer(**changes), edge, plan, ruler, 0.0)


@pytest.fixture(scope="module", name="held")
def _held(plan):
    """The moment as it is, neither bent nor thinned."""
    return made_of(plan).samples


@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
def test_it_is_as_loud_as_the_song_there_and_does_not_wobble(plan, rate_hz):
    """Momentary loudness within 1 LU of the song's, throughout."""
    edge = chord_song(rate_hz)
    held = made_of(plan, edge).samples
    _, lufs = momentary_lufs(Clip(samples=held, rate_hz=rate_hz))
    _, there = momentary_lufs(edge.mix)
    assert len(lufs) > 100
    assert np.abs(lufs - np.median(there)).max() < 1.0


def test_it_does_not_pulse(held):
    """No periodic change of level: the envelope's strongest line below 1 %."""
    inner = held.astype(np.float64)[RATE_HZ // 2 : -RATE_HZ // 2]
    power = np.square(inner).sum(axis=1)
    power = power[: len(power) // 480 * 480].reshape(-1, 480).mean(axis=1)  # 10 ms
    level = np.sqrt(power) / np.sqrt(power).mean() - 1
    lines = np.abs(np.fft.rfft(level * np.hanning(len(level)))) * 4 / len(level)
    slow = np.fft.rfftfreq(len(level), 0.01) < 8
    assert lines[slow].max() < 0.05


def test_it_goes_on_from_the_song_without_a_bump(plan, incoming):
    """The song fades out at the very beat: level within 0.6 dB, no step at the join."""
    edge = chord_song()
    points = old_layer().time_map
    at_beat_4 = next(p.source_s for p in points if p.beat == 4)
    before = old_layer(end_beat=4)
    held = layer(start_beat=4, end_beat=12, source_s=at_beat_4)
    made = render_candidate(replace(plan, layers=(before, held)), edge, incoming).music.samples
    join = round(plan.seconds_at(4) * RATE_HZ)
    levels = [rms_db(made[at : at + 960]) for at in range(join - 4_800, join + 4_800, 240)]
    song_levels = [rms_db(edge.mix.samples[at : at + 960]) for at in range(96_000, 105_600, 240)]
    assert min(levels) > min(song_levels) - 0.6
    assert max(levels) < max(song_levels) + 0.6
    steps = np.abs(np.diff(made, axis=0)).max(axis=1)
    lead = round(LEAD_S * RATE_HZ)
    around = steps[join - RATE_HZ : join - 2 * lead]
    assert steps[join - lead : join + lead].max() <= 1.05 * around.max()


def test_a_song_that_swells_from_nothing_is_held_where_it_is_there(plan):
    edge = chord_song()
    swell = np.clip((np.arange(edge.mix.n_frames) / RATE_HZ - MOMENT_S) / 3.0, 0.0, 1.0)
    swelling = song(edge.mix.samples * swell[:, None])
    of_start = made_of(plan, swelling, song="incoming").samples
    as_it_is = made_of(plan, edge, song="incoming").samples
    assert rms_db(of_start) > rms_db(as_it_is) - 7.0
    of_end = made_of(plan, swelling, song="outgoing").samples
    assert rms_db(of_end) < rms_db(as_it_is) - 20.0  # an ending is held where it was asked for


@pytest.mark.parametrize("semitones", [-2.0, 3.0])
def test_a_bend_moves_every_partial(plan, semitones):
    held = made_of(plan, pitch_semitones=curve((2, 0), (8, semitones))).samples
    end = held[-2 * RATE_HZ :]
    for midi in CHORD:
        wanted = hertz_of(midi + semitones)
        found = pitch_hz(end, RATE_HZ, wanted)
        assert 1200 * np.log2(found / wanted) == pytest.approx(0.0, abs=3.0)


def test_a_bend_upwards_does_not_alias(plan):
    """A tone at 18 kHz bent an octave up is gone, not folded back."""
    time_s = np.arange(10 * RATE_HZ)[:, None] / RATE_HZ
    high = song(0.2 * np.sin(2 * np.pi * 18_000 * time_s + np.zeros((1, 2))))
    bend = curve((2, 0), (8, 0), (10, 12))
    held = made_of(plan, high, pitch_semitones=bend).samples
    _, before = spectrum_of(held[: 2 * RATE_HZ], RATE_HZ)
    _, after = spectrum_of(held[-2 * RATE_HZ :], RATE_HZ)
    assert db(after.max() / before.max()) < -70  # what is left is air


def test_thinning_leaves_the_partials_of_the_tone(plan):
    thin = curve((2, 0), (10, 1))
    held = made_of(plan, tone_midi=60.0, thinning=thin).samples
    hertz, spectrum = spectrum_of(held[-2 * RATE_HZ :], RATE_HZ)

    def level(frequency):
        return float(db(spectrum[np.abs(hertz - frequency) < 4].max()))

    assert level(hertz_of(57)) < level(hertz_of(60)) - 60
    assert level(hertz_of(64)) < level(hertz_of(60)) - 60
    hertz, spectrum = spectrum_of(held[: RATE_HZ // 2], RATE_HZ)
    assert level(hertz_of(57)) > level(hertz_of(60)) - 6


def test_it_is_wide_but_loses_nothing_in_mono(held):
    late = held.astype(np.float64)[4 * RATE_HZ :]
    assert abs(np.corrcoef(late.T)[0, 1]) < 0.9
    assert rms_db(late.mean(axis=1)) > rms_db(late) - 4.5


def test_the_seed_decides(plan, held):
    assert np.array_equal(held, made_of(plan).samples)
    assert not np.array_equal(held, made_of(replace(plan, seed=8)).samples)


def test_what_cannot_be_held_is_said(plan, incoming):
    silent = song(np.zeros((10 * RATE_HZ, 2)))
    notes = render_candidate(only(plan, layer()), silent, incoming).notes
    assert any("holds next to nothing" in note for note in notes)
    thin = layer(tone_midi=58.5, thinning=curve((2, 1)))
    notes = render_candidate(only(plan, thin), chord_song(air=0.0), incoming).notes
    assert any("not thinned" in note for note in notes)
