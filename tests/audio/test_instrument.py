"""A user's own sound: its pitch named or heard, its faults told, SoundFonts played."""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from segue.audio.clip import Clip
from segue.audio.instrument import heard_midi, read_instrument
from segue.errors import AudioFileError, OptionError

RATE_HZ = 44_100
HAS_FONTS = find_spec("tinysoundfont") is not None
FONT = (
    Path(str(find_spec("pretty_midi").origin)).parent / "TimGM6mb.sf2"
    if find_spec("pretty_midi")
    else Path("none.sf2")
)
needs_fonts = pytest.mark.skipif(
    not (HAS_FONTS and FONT.exists()), reason="tinysoundfont or a SoundFont is not installed"
)


def note(hertz, length_s=2.0, rate_hz=RATE_HZ):
    time_s = np.arange(round(length_s * rate_hz)) / rate_hz
    sound = sum(np.sin(2 * np.pi * hertz * n * time_s) / n for n in range(1, 6))
    shaped = 0.2 * sound * np.minimum(time_s / 0.02, 1.0) * np.exp(-time_s / 3)
    return np.stack((shaped, shaped), axis=1).astype(np.float32)


def written(folder, name, samples):
    path = folder / name
    soundfile.write(path, samples, RATE_HZ)
    return path


@pytest.mark.parametrize("midi", [33.0, 45.0, 57.3, 72.0, 88.0])
def test_a_pitch_is_heard_to_three_cents(midi):
    """440 Hz is 69 by definition of MIDI tuning."""
    heard = heard_midi(Clip(samples=note(440 * 2 ** ((midi - 69) / 12)), rate_hz=RATE_HZ))
    assert heard == pytest.approx(midi, abs=0.03)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("colour", [0.0, 0.97, -0.97], ids=["white", "dark", "bright"])
def test_noise_has_no_pitch(colour, seed):
    noise = np.random.default_rng(seed).standard_normal((RATE_HZ, 2))
    noise = signal.lfilter([1.0], [1.0, -colour], noise, axis=0).astype(np.float32)
    assert heard_midi(Clip(samples=noise, rate_hz=RATE_HZ)) is None


def test_two_sounds_that_cancel_and_a_note_too_short_have_no_pitch():
    two = note(220.0) * np.array([1.0, -1.0], dtype=np.float32)
    assert heard_midi(Clip(samples=two, rate_hz=RATE_HZ)) is None
    assert heard_midi(Clip(samples=note(220.0, 0.05), rate_hz=RATE_HZ)) is None


def test_a_note_that_sways_has_the_pitch_it_sways_about():
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    turns = np.cumsum(220.0 * 2 ** (0.4 / 12 * np.sin(2 * np.pi * 5.5 * time_s))) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * n * turns) / n for n in range(1, 6))
    swaying = np.stack((sound, sound), axis=1).astype(np.float32)
    assert heard_midi(Clip(samples=swaying, rate_hz=RATE_HZ)) == pytest.approx(57.0, abs=0.15)


def test_a_file_becomes_one_note_from_its_attack_on(tmp_path):
    silence = np.zeros((RATE_HZ, 2), dtype=np.float32)
    path = written(tmp_path, "glow.wav", np.concatenate((silence, note(220.0), silence)))
    made = read_instrument(path)
    assert made.name == "glow"
    assert made.notes[0].midi == pytest.approx(57.0, abs=0.03)
    assert made.notes[0].clip.duration_s == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize(
    ("name", "midi"),
    [
        ("choir A3.wav", 57),
        ("F#2-warm.wav", 42),
        ("Bb_strings_Bb4.wav", 70),
        ("c4.wav", 60),
        ("low C-1.wav", 0),
        ("E♭3.wav", 51),
    ],
)
def test_a_name_tells_the_pitch_of_what_is_not_heard(tmp_path, name, midi):
    noise = np.random.default_rng(1).standard_normal((RATE_HZ, 2)) * 0.1
    assert read_instrument(written(tmp_path, name, noise)).notes[0].midi == midi


def test_a_named_pitch_is_made_exact_by_ear(tmp_path):
    path = written(tmp_path, "pad A3.wav", note(220.0 * 2 ** (20 / 1200)))
    assert read_instrument(path).notes[0].midi == pytest.approx(57.2, abs=0.03)


def test_what_cannot_play_is_refused_with_a_way_out(tmp_path):
    noise = np.random.default_rng(1).standard_normal((RATE_HZ, 2)) * 0.1
    with pytest.raises(AudioFileError, match=r"put it in its name, such as 'pad A3\.wav'"):
        read_instrument(written(tmp_path, "hiss.wav", noise))
    with pytest.raises(AudioFileError, match=r"0\.20 s of sound, too little"):
        read_instrument(written(tmp_path, "blip.wav", note(220.0, 0.2)))


def test_soundfonts_without_their_package_name_the_line_to_type(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "tinysoundfont", None)
    with pytest.raises(OptionError, match="pip install --no-deps tinysoundfont"):
        read_instrument(tmp_path / "pads.sf2")


@needs_fonts
def test_a_soundfont_plays_its_notes_at_their_pitch():
    """TimGM6mb, the SoundFont that pretty_midi carries; preset 89 is a warm pad."""
    made = read_instrument(FONT)
    assert "pad" in made.name.lower()
    assert len(made.notes) > 8
    middle = made.nearest(60.0)
    assert middle.midi == 60
    assert heard_midi(middle.clip) == pytest.approx(60.0, abs=0.15)
    assert np.array_equal(read_instrument(FONT).notes[3].clip.samples, made.notes[3].clip.samples)


@needs_fonts
@pytest.mark.parametrize(
    ("preset", "midi"), [(52, 26), (52, 36), (52, 56), (68, 76), (33, 31), (73, 86)], ids=str
)
def test_notes_of_choir_reed_bass_and_flute_are_heard_in_their_octave(preset, midi):
    """TimGM6mb; the choir's and the reed's octave partials are louder than their first."""
    import tinysoundfont

    synth = tinysoundfont.Synth(samplerate=48_000)
    font = synth.sfload(FONT.read_bytes())
    synth.program_select(0, font, 0, preset)
    synth.noteon(0, midi, 90)
    samples = np.frombuffer(synth.generate(3 * 48_000), dtype=np.float32).reshape(-1, 2).copy()
    assert heard_midi(Clip(samples=samples, rate_hz=48_000)) == pytest.approx(midi, abs=0.3)


@needs_fonts
def test_a_broken_soundfont_is_refused(tmp_path):
    broken = tmp_path / "broken.sf2"
    broken.write_bytes(b"RIFF nothing")
    with pytest.raises(AudioFileError, match="is not a SoundFont"):
        read_instrument(broken)
    with pytest.raises(AudioFileError, match="cannot be read"):
        read_instrument(tmp_path / "gone.sf2")
