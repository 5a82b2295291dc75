"""Comping and bass: notes at their pitch, on their beat, at the plan's loudness."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import integrated_lufs
from segue.plan.layer import PlayedLayer, PlayedNote, Voicing
from segue.render.layer_sound import ruler_of
from segue.render.struck import struck_sound, touch_beside
from tests.render.conftest import music, song

RATE_HZ = 22_050
SOUNDS = ("keys", "pluck", "organ", "bass")


def played(*notes, sound="keys"):
    chord = Voicing(start_beat=4, end_beat=12, notes_midi=(45, 57, 60, 64), symbol="Am")
    return PlayedLayer(name="comp", voicings=(chord,), notes=notes, sound=sound)


def note(start, midi, length=1.0, gain_db=0.0):
    return PlayedNote(start_beat=start, end_beat=start + length, midi=midi, gain_db=gain_db)


def sound_of(layer, plan):
    return struck_sound(layer, plan, ruler_of(plan, RATE_HZ))


@pytest.mark.parametrize("sound", SOUNDS)
@pytest.mark.parametrize("midi", [33, 45, 60, 69])
def test_a_note_has_its_pitch(plan, sound, midi):
    made = sound_of(played(note(5, midi, 4.0), sound=sound), plan)
    mono = made.samples.mean(axis=1)
    spectrum = np.abs(np.fft.rfft(mono * np.hanning(len(mono))))
    hertz = np.fft.rfftfreq(len(mono), 1 / RATE_HZ)
    wanted = 440 * 2 ** ((midi - 69) / 12)
    near = (hertz > wanted * 0.97) & (hertz < wanted * 1.03)
    between = (hertz > wanted * 1.2) & (hertz < wanted * 1.8)
    assert spectrum[near].max() > 5 * spectrum[between].max()
    assert hertz[near][np.argmax(spectrum[near])] == pytest.approx(wanted, rel=0.005)


@pytest.mark.parametrize("sound", SOUNDS)
def test_it_is_as_loud_as_the_plan_wants_and_strikes_on_its_beats(plan, sound):
    notes = [note(beat, 45 if sound == "bass" else 60, 0.5) for beat in range(4, 12)]
    made = sound_of(played(*notes, sound=sound), plan)
    lufs = integrated_lufs(Clip(samples=made.samples, rate_hz=RATE_HZ))
    assert lufs == pytest.approx(plan.target_lufs, abs=0.1)
    for beat in range(5, 12):
        at = round(plan.seconds_at(beat) * RATE_HZ) - made.first_frame
        before, after = made.samples[at - 900 : at - 20], made.samples[at : at + 900]
        assert np.abs(after).max() > 1.5 * np.abs(before).max()


def test_it_is_the_same_twice_and_as_wide_as_it_is_told(plan):
    layer = played(note(5, 60), note(6, 64), note(7, 67))
    one, other = sound_of(layer, plan), sound_of(layer, plan)
    assert np.array_equal(one.samples, other.samples)
    assert np.corrcoef(one.samples.T)[0, 1] < 0.99
    bass = sound_of(replace(layer, sound="bass", notes=(note(5, 40, 4.0),)), plan)
    assert np.corrcoef(bass.samples.T)[0, 1] > 0.99


def test_it_is_played_softly_beside_soft_music(plan):
    layer = played(*(note(beat, 60, 0.9) for beat in range(4, 12)))
    ruler = ruler_of(plan, RATE_HZ)
    hard, soft = (struck_sound(layer, plan, ruler, hardness=h) for h in (1.0, 0.0))
    at = round(plan.seconds_at(8) * RATE_HZ) - hard.first_frame
    shares = [
        np.abs(made.samples[at - 200 : at + 200]).max()
        / np.abs(made.samples[at : at + RATE_HZ // 3]).max()
        for made in (hard, soft)
    ]
    assert shares[1] < 0.7 * shares[0]  # within 10 ms
    levels = [integrated_lufs(Clip(samples=made.samples, rate_hz=RATE_HZ)) for made in (hard, soft)]
    assert levels[0] == pytest.approx(levels[1], abs=0.2)


@pytest.mark.parametrize("sound", SOUNDS)
def test_what_is_played_softly_is_darker_while_it_rings(plan, sound):
    """Common practice, no source: a softer touch brings out fewer of the upper partials."""
    layer, ruler = played(note(5, 45, 4.0), sound=sound), ruler_of(plan, RATE_HZ)
    brightness_hz = []
    for hardness in (0.0, 0.5, 1.0):
        mono = struck_sound(layer, plan, ruler, hardness=hardness).samples.mean(axis=1)
        rings = mono[len(mono) // 3 : len(mono) // 2]  # after every attack
        power = np.abs(np.fft.rfft(rings * np.hanning(len(rings)))) ** 2
        hertz = np.fft.rfftfreq(len(rings), 1 / RATE_HZ)
        brightness_hz.append((hertz * power).sum() / power.sum())
    assert brightness_hz == sorted(brightness_hz)


def test_how_hard_is_told_by_the_songs_next_to_the_join_at_whatever_level(plan):
    time_s = np.arange(20 * RATE_HZ)[:, None] / RATE_HZ
    held = np.repeat(0.1 * np.sin(2 * np.pi * 220 * time_s), 2, axis=1)
    struck = music(20.0, 120.0, rate_hz=RATE_HZ)[: len(held)]
    placed = replace(plan, exit_source_s=10.0, entry_source_s=10.0)

    def touch(before, after):
        sound = np.concatenate([before[: 10 * RATE_HZ], after[: 10 * RATE_HZ]])
        edge = song(sound, rate_hz=RATE_HZ)
        return touch_beside(placed, edge, edge)

    assert touch(held, held) < touch(held, struck) < touch(struck, struck) <= 1.0
    assert touch(0.1 * struck, 0.1 * struck) == pytest.approx(touch(struck, struck), rel=0.02)
    assert touch_beside(plan, song(held, rate_hz=RATE_HZ), song(held, rate_hz=RATE_HZ)) == 1.0
