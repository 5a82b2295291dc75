"""First notes of synthetic singers whose pitch and attack are known exactly."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.first_note import first_note_of, hear_first_note
from segue.analysis.pitch_track import is_monophonic
from segue.audio.clip import Clip, SongEdge, Stem

RATE_HZ = 48_000
LENGTH_S = 4.0
ATTACK_S = 1.3
PITCH_TOLERANCE = 0.1  # semitones; a fifth of the half semitone that would be a wrong note
TIME_TOLERANCE_S = 0.05  # an entry within it counts as found


def voice(midi, *, attack_s=ATTACK_S, length_s=1.5, scoop=0.0, vibrato=0.0):
    """A harmonic tone, 12 dB an octave down, with one formant's worth of brightness."""
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    bend = -scoop * np.clip(1 - time_s / 0.1, 0, 1)
    bend += vibrato * np.sin(2 * np.pi * 5.5 * (time_s - 0.2)) * np.clip((time_s - 0.2) / 0.2, 0, 1)
    hz = 440 * 2 ** ((midi + bend - 69) / 12)
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    tone = sum(
        np.sin(k * phase) * (1 / k**1.5 + 0.5 * np.exp(-((k * hz.mean() / 700 - 1) ** 2) * 8))
        for k in range(1, int(5000 / hz.max()) + 1)
    )
    shape = np.clip(time_s / 0.02, 0, 1) * np.clip((length_s - time_s) / 0.08, 0, 1)
    sound = np.zeros(round(LENGTH_S * RATE_HZ))
    at = round(attack_s * RATE_HZ)
    piece = (tone * shape)[: len(sound) - at]
    sound[at : at + len(piece)] = 0.2 * piece
    return sound


def breath(length_s, end_s, gain):
    noise = np.random.default_rng(1).standard_normal(round(length_s * RATE_HZ))
    sound = np.zeros(round(LENGTH_S * RATE_HZ))
    end = round(end_s * RATE_HZ)
    sound[end - len(noise) : end] = gain * noise * np.hanning(len(noise))
    return sound


def sibilant(end_s):
    """Noise about 8 kHz, where the energy of an s lies."""
    noise = breath(0.12, end_s, 0.2)
    spectrum = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    return np.fft.irfft(spectrum * ((hz > 6000) & (hz < 10_000)), len(noise))


def backing():
    """Chords and drums from the start on."""
    rng = np.random.default_rng(2)
    sound = np.zeros(round(LENGTH_S * RATE_HZ))
    for beat in range(int(LENGTH_S / 0.5)):
        at = round(beat * 0.5 * RATE_HZ)
        time_s = np.arange(min(round(0.5 * RATE_HZ), len(sound) - at)) / RATE_HZ
        chord = sum(np.sin(2 * np.pi * f * time_s) for f in (65.4, 131, 165, 196, 392))
        drum = rng.standard_normal(len(time_s)) * np.exp(-time_s / 0.05)
        sound[at : at + len(time_s)] += chord * np.exp(-time_s / 0.6) + drum
    return sound


def with_backing(sound, below_db):
    behind = backing()
    sung = np.sqrt(np.mean(sound[sound != 0] ** 2))
    return sound + behind * sung / np.sqrt(np.mean(behind**2)) * 10 ** (-below_db / 20)


def clip_of(sound, *, start_s=0.0, rate_hz=RATE_HZ):
    samples = np.stack([sound, sound], axis=1).astype(np.float32)
    return Clip(samples=samples, rate_hz=rate_hz, start_s=start_s)


def edge_of(**sounds):
    stems = tuple(
        Stem(role=role, file=f"{role}.wav", clip=clip_of(sound)) for role, sound in sounds.items()
    )
    return SongEdge(path=Path("song"), title="song", edge="start", stems=stems, duration_s=LENGTH_S)


@pytest.mark.parametrize("midi", [36.0, 41.3, 50.0, 57.4, 64.0, 71.7, 79.0, 84.0])
@pytest.mark.parametrize(
    "how",
    [
        pytest.param({}, id="straight"),
        pytest.param({"scoop": 2.0}, id="scooped"),
        pytest.param({"vibrato": 0.6}, id="shaken"),
    ],
)
def test_first_note_has_its_settled_pitch_and_its_attack(midi, how):
    heard = first_note_of(clip_of(voice(midi, **how)))
    assert heard is not None
    assert heard.midi == pytest.approx(midi, abs=PITCH_TOLERANCE)
    assert heard.time_s == pytest.approx(ATTACK_S, abs=TIME_TOLERANCE_S)


@pytest.mark.parametrize(
    "before",
    [
        pytest.param(breath(0.35, ATTACK_S - 0.03, 0.01), id="breath"),
        pytest.param(sibilant(ATTACK_S), id="sibilant"),
    ],
)
def test_first_note_is_not_the_noise_before_it(before):
    heard = first_note_of(clip_of(voice(60) + before))
    assert heard is not None
    assert heard.midi == pytest.approx(60, abs=PITCH_TOLERANCE)
    assert heard.time_s == pytest.approx(ATTACK_S, abs=TIME_TOLERANCE_S)


@pytest.mark.parametrize("below_db", [14, 20, 26])
@pytest.mark.parametrize("midi", [48.0, 62.0, 74.0])
def test_first_note_is_not_the_band_behind(midi, below_db):
    heard = first_note_of(clip_of(with_backing(voice(midi, scoop=1.0), below_db)))
    assert heard is not None
    assert heard.midi == pytest.approx(midi, abs=PITCH_TOLERANCE)
    assert heard.time_s == pytest.approx(ATTACK_S, abs=TIME_TOLERANCE_S)


def test_first_note_is_the_first_of_two_without_a_gap():
    first = voice(57, length_s=0.25)
    second = voice(59, attack_s=ATTACK_S + 0.2, length_s=1.0)
    heard = first_note_of(clip_of(first + second))
    assert heard is not None
    assert heard.midi == pytest.approx(57, abs=0.2)


def test_first_note_of_a_reed_that_speaks_an_octave_low_is_where_it_settles():
    low = voice(53, length_s=0.17)
    settled = voice(65, attack_s=ATTACK_S + 0.14, length_s=0.2)
    following = voice(70, attack_s=ATTACK_S + 0.32, length_s=0.6)
    heard = first_note_of(clip_of(low + settled + following))
    assert heard is not None
    assert heard.midi == pytest.approx(65, abs=PITCH_TOLERANCE)
    assert heard.time_s == pytest.approx(ATTACK_S, abs=TIME_TOLERANCE_S)


@pytest.mark.parametrize(
    "sound",
    [
        pytest.param(np.zeros(RATE_HZ), id="silence"),
        pytest.param(np.zeros(0), id="nothing"),
        pytest.param(0.1 * np.random.default_rng(5).standard_normal(RATE_HZ), id="noise"),
    ],
)
def test_first_note_of_no_note_is_none(sound):
    assert first_note_of(clip_of(sound)) is None


def test_first_note_comes_from_the_voice_before_the_lead():
    voice_sound, lead_sound = voice(60), voice(72, attack_s=0.5)
    both = hear_first_note(edge_of(lead=lead_sound, voice=voice_sound, bass=backing()))
    lead_only = hear_first_note(edge_of(lead=lead_sound, bass=backing()))
    silent_voice = hear_first_note(edge_of(lead=lead_sound, voice=0 * voice_sound))
    assert both is not None
    assert lead_only is not None
    assert silent_voice is not None
    assert [round(n.midi) for n in (both, lead_only, silent_voice)] == [60, 72, 72]


@pytest.mark.parametrize(
    ("sound", "expected"),
    [
        pytest.param(voice(60, vibrato=0.5), True, id="voice"),
        pytest.param(voice(45), True, id="low voice"),
        pytest.param(backing(), False, id="band"),
        pytest.param(voice(60) + voice(64) + voice(67), False, id="chord"),
        pytest.param(voice(76) + voice(80) + voice(83), False, id="high chord"),
        pytest.param(voice(67) + voice(74), False, id="fifth"),
        pytest.param(voice(67) + voice(72), False, id="fourth"),
        pytest.param(voice(72) + voice(81), False, id="sixth"),
        pytest.param(voice(60) + voice(72), True, id="octave"),
        pytest.param(np.zeros(RATE_HZ), False, id="silence"),
    ],
)
def test_is_monophonic(sound, expected):
    assert is_monophonic(clip_of(sound)) is expected


def test_first_note_comes_from_a_single_file_only_where_it_is_one_voice():
    alone = hear_first_note(edge_of(mix=voice(60)))
    assert alone is not None
    assert alone.midi == pytest.approx(60, abs=PITCH_TOLERANCE)
    assert alone.time_s == pytest.approx(ATTACK_S, abs=TIME_TOLERANCE_S)
    assert hear_first_note(edge_of(mix=with_backing(voice(60), 6))) is None


@pytest.mark.parametrize("midi", [48.0, 60.3, 74.0])
def test_first_note_agrees_with_probabilistic_yin(midi):
    # outside reference: librosa.pyin, steps of 10 cents
    import librosa

    sound = voice(midi, length_s=0.8)[: round(2.2 * RATE_HZ)]
    hz, _, voiced = librosa.pyin(
        sound, fmin=60, fmax=1200, sr=RATE_HZ, frame_length=4096, resolution=0.1
    )
    reference = float(np.median(librosa.hz_to_midi(hz[voiced > 0.5])))
    heard = first_note_of(clip_of(sound))
    assert heard is not None
    assert heard.midi == pytest.approx(reference, abs=0.1)


VOICE = voice(58.0, scoop=1.5, vibrato=0.3)


@settings(max_examples=10)
@given(gain_db=st.floats(-30, 6))
def test_first_note_gain_changes_nothing(gain_db):
    here = first_note_of(clip_of(VOICE))
    there = first_note_of(clip_of(VOICE * 10 ** (gain_db / 20)))
    assert here is not None
    assert there is not None
    assert there.midi == pytest.approx(here.midi, abs=0.01)
    assert there.time_s == pytest.approx(here.time_s, abs=0.003)


@settings(max_examples=10)
@given(silence_s=st.floats(0, 3), start_s=st.floats(0, 600))
def test_first_note_silence_in_front_moves_the_time_only(silence_s, start_s):
    here = first_note_of(clip_of(VOICE))
    n_silent = round(silence_s * RATE_HZ)
    there = first_note_of(clip_of(np.concatenate([np.zeros(n_silent), VOICE]), start_s=start_s))
    assert here is not None
    assert there is not None
    assert there.midi == pytest.approx(here.midi, abs=0.03)
    shift_s = start_s + n_silent / RATE_HZ
    assert there.time_s - shift_s == pytest.approx(here.time_s, abs=0.006)


@settings(max_examples=10)
@given(ratio=st.floats(0.8, 1.25))
def test_first_note_played_faster_is_higher(ratio):
    here = first_note_of(clip_of(VOICE))
    rate_hz = round(RATE_HZ * ratio)
    there = first_note_of(clip_of(VOICE, rate_hz=rate_hz))
    assert here is not None
    assert there is not None
    semitones = 12 * np.log2(rate_hz / RATE_HZ)
    assert there.midi - here.midi == pytest.approx(semitones, abs=0.06)
    assert there.time_s == pytest.approx(here.time_s * RATE_HZ / rate_hz, abs=0.01)
