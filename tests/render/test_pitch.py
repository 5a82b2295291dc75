"""Reading at any speed, and pitch that moves while time stays."""

import numpy as np
import pytest

from segue.audio.clip import Clip, SongEdge, Stem
from segue.render import render_candidate
from segue.render.layer_sound import ruler_of
from segue.render.stretch import sound_at_pitch
from segue.render.time_map import TimeMap, time_map_of
from segue.render.varispeed import read_at
from tests.render.conftest import OLD_BPM, RATE_HZ, curve, key_frames, song
from tests.render.measure import attack_frames, db, only, pitch_hz, rms_db, spectrum_of
from tests.render.test_render_candidate import old_layer

CENTS = 2.0


def cents(found, wanted):
    return 1200 * np.log2(found / wanted)


def sine(hertz, n_frames, rate_hz=RATE_HZ):
    phase = 2 * np.pi * hertz * np.arange(n_frames) / rate_hz
    return np.stack((np.sin(phase), np.cos(phase)), axis=1).astype(np.float32) * np.float32(0.5)


def test_whole_positions_are_copied_bit_for_bit():
    noise = np.random.default_rng(1).standard_normal((5_000, 2)).astype(np.float32)
    assert np.array_equal(read_at(noise, np.arange(100.0, 4_000.0)), noise[100:4_000])


@pytest.mark.parametrize("speed", [0.5, 0.89, 1.1225, 1.5])
def test_a_tone_is_read_without_images(speed):
    """Everything beside the tone at least 80 dB below it."""
    out = read_at(sine(9_000.0, 60_000), np.arange(20_000) * speed + 1_000.0)
    hertz, spectrum = spectrum_of(out, RATE_HZ)
    assert pitch_hz(out, RATE_HZ, 9_000 * speed) == pytest.approx(9_000 * speed, rel=1e-4)
    beside = spectrum[np.abs(hertz - 9_000 * speed) > 50].max()
    assert db(beside / spectrum.max()) < -80


def test_what_would_fold_back_is_taken_out():
    """22 kHz read a fifth faster would be 33 kHz, heard as 15."""
    out = read_at(sine(22_000.0, 60_000), np.arange(20_000) * 1.5 + 1_000.0)
    assert rms_db(out) < rms_db(sine(22_000.0, 20_000)) - 80


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("semitones", [-2.0, 1.0])
def test_pitch_moves_within_two_cents_and_length_stays(plan, rate_hz, semitones):
    clip = Clip(samples=sine(440.0, 8 * rate_hz, rate_hz), rate_hz=rate_hz)
    time_map = time_map_of(key_frames(0, 12, OLD_BPM), plan)
    part = ruler_of(plan, rate_hz).part(0, 5 * rate_hz)
    out = sound_at_pitch(clip, time_map, curve((0, semitones)), part, first_frame=0)
    assert out.shape == (5 * rate_hz, 2)
    wanted = 440 * 2 ** (semitones / 12)
    found = pitch_hz(out[rate_hz : 4 * rate_hz], rate_hz, wanted)
    assert cents(found, wanted) == pytest.approx(0.0, abs=CENTS)


def test_time_stays_while_pitch_bends(plan):
    """Clicks every half second in a steady song, bent down a whole tone and back."""
    rate_hz = RATE_HZ
    sound = np.zeros((10 * rate_hz, 2), dtype=np.float32)
    at = np.arange(1, 9, 0.5)
    for second in at:
        first = round(second * rate_hz)
        sound[first : first + 40] = 0.8
    clip = Clip(samples=sound, rate_hz=rate_hz)
    time_map = TimeMap(plan_s=np.array([0.0, 9.0]), source_s=np.array([0.0, 9.0]))
    bend = curve((0, 0), (6, -2), (12, 0))
    part = ruler_of(plan, rate_hz).part(0, 8 * rate_hz)
    out = sound_at_pitch(clip, time_map, bend, part, first_frame=0)
    wanted = at[at < 7.5] * rate_hz
    late_ms = (attack_frames(out, wanted.astype(int), rate_hz) - wanted) / rate_hz * 1000
    assert np.abs(late_ms).max() < 3.0


def test_where_the_pitch_is_not_moved_yet_the_song_is_copied(plan):
    noise = np.random.default_rng(3).standard_normal((8 * RATE_HZ, 2)).astype(np.float32)
    clip = Clip(samples=noise * np.float32(0.1), rate_hz=RATE_HZ)
    time_map = TimeMap(plan_s=np.array([0.0, 7.0]), source_s=np.array([0.0, 7.0]))
    bend = curve((0, 0), (6, 0), (8, 1))
    part = ruler_of(plan, RATE_HZ).part(0, 6 * RATE_HZ)
    out = sound_at_pitch(clip, time_map, bend, part, first_frame=0)
    until = round(2.5 * RATE_HZ)
    assert np.array_equal(out[:until], clip.samples[:until])


def test_a_bend_has_no_step_at_its_ends(plan):
    clip = Clip(samples=sine(440.0, 10 * RATE_HZ), rate_hz=RATE_HZ)
    time_map = TimeMap(plan_s=np.array([0.0, 9.0]), source_s=np.array([0.0, 9.0]))
    part = ruler_of(plan, RATE_HZ).part(0, 8 * RATE_HZ)
    bend = curve((0, 0), (4, 0), (8, -1), (20, -1))
    out = sound_at_pitch(clip, time_map, bend, part, first_frame=0)[:, 0].astype(np.float64)
    jolts = np.abs(np.diff(out, 2))
    assert jolts.max() < 2.0 * jolts[:RATE_HZ].max()


def test_a_drum_stem_keeps_its_pitch_beside_a_bent_song(plan, incoming):
    drums, keys = sine(100.0, 14 * RATE_HZ), sine(440.0, 14 * RATE_HZ)
    base = song(keys)
    edge = SongEdge(
        path=base.path,
        title="Stems",
        edge="end",
        stems=tuple(
            Stem(role=role, file="a", clip=Clip(samples=samples, rate_hz=RATE_HZ))
            for role, samples in (("drums", drums), ("keys", keys))
        ),
        duration_s=14.0,
    )
    layer = old_layer(end_beat=4, time_map=key_frames(0, 4, OLD_BPM), pitch_semitones=curve((0, 2)))
    made = render_candidate(only(plan, layer), edge, incoming).outgoing.samples
    first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (0.5, 3.5))
    assert cents(pitch_hz(made[first:last], RATE_HZ, 100.0), 100.0) == pytest.approx(0, abs=CENTS)
    moved = 440.0 * 2 ** (2 / 12)
    assert cents(pitch_hz(made[first:last], RATE_HZ, moved), moved) == pytest.approx(0, abs=CENTS)
