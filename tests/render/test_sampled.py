"""The pad played by a recorded note: in tune, at level, held without a bump."""

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.instrument import Instrument, SampledNote
from segue.audio.loudness import integrated_lufs, momentary_lufs
from segue.plan.layer import PadLayer, Voicing
from segue.render import render_candidate
from segue.render.pad import sampled_note, sustained
from tests.audio.test_instrument import note
from tests.render.conftest import RATE_HZ
from tests.render.measure import db, only, pitch_hz, spectrum_of
from tests.render.test_pitch import cents


def instrument(midi=57.0, length_s=2.0, rate_hz=44_100):
    hertz = 440 * 2 ** ((midi - 69) / 12)
    clip = Clip(samples=note(hertz, length_s, rate_hz), rate_hz=rate_hz)
    return Instrument(name="own", notes=(SampledNote(midi=midi, clip=clip),))


@pytest.mark.parametrize("midi", [45.0, 57.0, 64.0, 76.0])
@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
def test_a_note_is_at_its_pitch(midi, rate_hz):
    made = sampled_note(instrument(), midi, np.ones(2 * rate_hz), rate_hz)
    assert made.shape == (2 * rate_hz, 2)
    wanted = 440 * 2 ** ((midi - 69) / 12)
    assert cents(pitch_hz(made, rate_hz, wanted), wanted) == pytest.approx(0.0, abs=3.0)


def test_a_high_note_does_not_alias():
    """Harmonics of 880 Hz up to the fifth, read an octave higher: nothing in between."""
    made = sampled_note(instrument(81.0), 93.0, np.ones(RATE_HZ), RATE_HZ)[12_000:36_000]
    hertz, spectrum = spectrum_of(made, RATE_HZ)
    off = np.abs(hertz / 1_760.0 - np.round(hertz / 1_760.0)) * 1_760.0
    assert db(spectrum[off > 60].max() / spectrum.max()) < -70


def test_a_note_is_held_as_long_as_wanted_without_a_bump():
    clip = instrument().notes[0].clip
    held = sustained(clip, 10 * clip.rate_hz)
    assert len(held) >= 10 * clip.rate_hz
    assert np.array_equal(sustained(clip, 1_000), clip.samples)
    _, lufs = momentary_lufs(Clip(samples=held[clip.rate_hz :], rate_hz=clip.rate_hz))
    assert lufs.max() - lufs.min() < 2.0
    steps = np.abs(np.diff(held, axis=0)).max(axis=1)
    assert steps[clip.n_frames // 2 :].max() <= 1.1 * steps[: clip.n_frames // 2].max()


def pad(**changes):
    chord = Voicing(start_beat=0, end_beat=16, notes_midi=(45, 57, 60, 64), symbol="Am")
    return PadLayer(name="pad", voicings=(chord,), **changes)


def test_the_pad_is_played_by_the_instrument_at_the_target_loudness(plan, outgoing, incoming):
    layer = pad(instrument="own.wav")
    own = {"own.wav": instrument()}
    made = render_candidate(only(plan, layer), outgoing, incoming, instruments=own)
    assert integrated_lufs(made.interlude) == pytest.approx(plan.target_lufs, abs=0.1)
    built_in = render_candidate(only(plan, pad()), outgoing, incoming)
    assert not np.array_equal(made.music.samples, built_in.music.samples)
    assert not made.notes


def test_an_instrument_that_is_not_there_is_replaced_and_said(plan, outgoing, incoming):
    made = render_candidate(only(plan, pad(instrument="own.wav")), outgoing, incoming)
    assert any("own.wav was not loaded" in note for note in made.notes)
    built_in = render_candidate(only(plan, pad()), outgoing, incoming)
    assert np.array_equal(made.music.samples, built_in.music.samples)
