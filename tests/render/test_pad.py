"""The pad: in tune, free of aliasing, without steps, common tones held."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import momentary_lufs
from segue.plan.layer import PadLayer, Voicing
from segue.render.layer_sound import ruler_of
from segue.render.pad import pad_sound
from segue.render.pad_tables import HIGHEST_RATIO, LOWEST_MIDI, cycle_pair, pad_notes
from tests.render.measure import db, spectrum_of

RATE_HZ = 48_000
SOUNDS = ["warm", "glass", "choir"]
CHORDS = (
    Voicing(start_beat=0, end_beat=6, notes_midi=(45, 57, 60, 64), symbol="Am"),
    Voicing(start_beat=6, end_beat=12, notes_midi=(43, 57, 59, 62), symbol="G"),
)


def whole_pad(layer, plan, ruler):
    return pad_sound(layer, plan, ruler).laid_out(ruler.n_frames)


def pad(sound="warm", voicings=CHORDS):
    return PadLayer(name="pad", voicings=voicings, sound=sound)


def test_a_common_tone_is_held(plan):
    held = [note for note in pad_notes(pad(), plan) if note.midi == 57]
    assert len(held) == 1
    assert held[0].end_s > plan.seconds_at(6) + 1


def test_no_note_lies_in_the_mud(plan):
    low = (Voicing(start_beat=0, end_beat=8, notes_midi=(24, 36, 43), symbol="C5"),)
    assert min(note.midi for note in pad_notes(pad(voicings=low), plan)) >= LOWEST_MIDI


@pytest.mark.parametrize("sound", SOUNDS)
def test_cycles_have_no_partial_above_the_limit(sound):
    for hertz in (65.4, 440.0, 1_760.0):
        cycles = cycle_pair(sound, hertz, RATE_HZ, np.random.default_rng(1))[:, :-1]
        spectrum = np.abs(np.fft.rfft(cycles, axis=1))
        first_cut = int(HIGHEST_RATIO * RATE_HZ / hertz) + 1
        assert spectrum[:, first_cut:].max() < 1e-8 * spectrum.max()
        assert np.sqrt(np.mean(cycles**2, axis=1)) == pytest.approx(1.0)


@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
@pytest.mark.parametrize("midi", [57, 93])
@pytest.mark.parametrize("sound", SOUNDS)
def test_the_whole_pad_does_not_alias(sound, midi, rate_hz, plan):
    """A single held note: between its harmonics nothing above -80 dB of its strongest.

    Nearer than 3 % to a harmonic lie the detuned voices, and the chorus.
    """
    held = (Voicing(start_beat=0, end_beat=18, notes_midi=(midi - 12, midi), symbol="x"),)
    made = whole_pad(pad(sound, held), plan, ruler_of(plan, rate_hz))
    hertz, spectrum = spectrum_of(made[2 * rate_hz : 8 * rate_hz], rate_hz)
    lowest_hz = 440 * 2 ** ((midi - 12 - 69) / 12)
    number = np.maximum(np.round(hertz / lowest_hz), 1)
    between = np.abs(hertz / (number * lowest_hz) - 1) > 0.03
    assert between.any()
    assert db(spectrum[between].max() / spectrum.max()) < -80


@pytest.mark.parametrize("sound", SOUNDS)
def test_the_chord_changes_without_a_dip_bump_or_step(sound, plan):
    made = whole_pad(pad(sound), plan, ruler_of(plan, RATE_HZ))
    first, last = (round(plan.seconds_at(beat) * RATE_HZ) for beat in (4, 8))
    times_s, lufs = momentary_lufs(Clip(samples=made[first:last], rate_hz=RATE_HZ))
    assert len(times_s) > 50
    assert lufs.max() - lufs.min() < 4.0
    steps = np.abs(np.diff(made[first:last], axis=0)).max(axis=1)
    change = round(plan.seconds_at(6) * RATE_HZ) - first
    assert steps[change - 9_600 : change + 9_600].max() < 1.5 * np.percentile(steps, 99.9)


@pytest.mark.parametrize("cents", [0.0, 25.0])
def test_the_pad_is_in_the_songs_tuning(cents, plan):
    """A3 is 220 Hz; several voices a few cents apart centre on it."""
    tuned = replace(plan, key_from_tuning_cents=cents, key_to_tuning_cents=cents)
    note = (Voicing(start_beat=0, end_beat=18, notes_midi=(45, 57), symbol="A5"),)
    made = whole_pad(pad(voicings=note), tuned, ruler_of(tuned, RATE_HZ)).mean(axis=1)
    spectrum = np.abs(np.fft.rfft(made * np.hanning(len(made)), 1 << 21)) ** 2
    hertz = np.fft.rfftfreq(1 << 21, 1 / RATE_HZ)
    near = (hertz > 215) & (hertz < 227)
    centre = float(np.average(hertz[near], weights=spectrum[near]))
    assert 1200 * np.log2(centre / 220.0) == pytest.approx(cents, abs=5.0)


def test_the_pad_is_wide_and_its_seed_decides(plan):
    ruler = ruler_of(plan, RATE_HZ)
    made = whole_pad(pad(), plan, ruler)
    assert abs(np.corrcoef(made.T)[0, 1]) < 0.8
    assert np.array_equal(made, whole_pad(pad(), plan, ruler))
    assert not np.array_equal(made, whole_pad(pad(), replace(plan, seed=8), ruler))
