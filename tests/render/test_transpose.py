"""Transposition: pitch to 2 cents, attacks to 2 ms, length exact, drums and vowels kept."""

import numpy as np
import pytest

from segue.audio.clip import Clip, SongEdge, Stem
from segue.errors import OptionError
from segue.render.rubber import is_installed, refuse_if_missing
from segue.render.transpose import transposed
from tests.render.conftest import RATE_HZ, song
from tests.render.measure import attack_frames, pitch_hz, rms_db, spectrum_of
from tests.render.test_pitch import cents

ENGINES = [
    "own",
    pytest.param(
        "rubberband",
        marks=pytest.mark.skipif(not is_installed(), reason="no rubberband program here"),
    ),
]
CENTS = 2.0
ATTACK_S = 0.002
LENGTH_S = 6.0


def plucks(rate_hz, at_s):
    """Strings struck with a short noise: a tone with an attack."""
    generator = np.random.default_rng(4)
    sound = np.zeros((round(LENGTH_S * rate_hz), 2))
    time_s = np.arange(round(0.3 * rate_hz)) / rate_hz
    tone = sum(np.sin(2 * np.pi * 330 * n * time_s) / n for n in (1, 2, 3)) * np.exp(-time_s / 0.1)
    tone *= np.minimum(time_s / 0.001, 1.0)
    tone[: round(0.004 * rate_hz)] += 0.5 * generator.standard_normal(round(0.004 * rate_hz))
    for second in at_s:
        first = round(second * rate_hz)
        sound[first : first + len(tone)] += 0.3 * tone[:, None]
    return sound


def steady(rate_hz, hertz=330.0):
    time_s = np.arange(round(LENGTH_S * rate_hz))[:, None] / rate_hz
    return 0.3 * np.sin(2 * np.pi * hertz * time_s + np.array([[0.0, 1.0]]))


def vowel(rate_hz, pitch=140.0, formants=(650.0, 1_700.0)):
    time_s = np.arange(round(LENGTH_S * rate_hz)) / rate_hz
    sound = np.zeros(len(time_s))
    for number in range(1, int(4_500 / pitch)):
        hertz = number * pitch
        level = sum(1 / (1 + ((hertz - centre) / 110) ** 2) for centre in formants) + 0.003
        sound += level * np.sin(2 * np.pi * hertz * time_s + number**2)
    return 0.05 * np.stack((sound, sound), axis=1)


def formant_hz(sound, rate_hz, near_hz):
    """Centre of the power within 250 Hz of a formant."""
    hertz, spectrum = spectrum_of(sound, rate_hz)
    near = np.abs(hertz - near_hz) < 250
    return float(np.average(hertz[near], weights=spectrum[near] ** 2))


def edge_of(*parts, rate_hz=RATE_HZ):
    base = song(parts[0][1], rate_hz=rate_hz)
    stems = tuple(
        Stem(
            role=role,
            file=f"{role}.wav",
            clip=Clip(samples=samples.astype(np.float32), rate_hz=rate_hz, start_s=3.0),
        )
        for role, samples in parts
    )
    return SongEdge(path=base.path, title="Song", edge="start", stems=stems, duration_s=60.0)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("semitones", [-2, 1])
@pytest.mark.parametrize("engine", ENGINES)
def test_pitch_length_and_attacks(rate_hz, semitones, engine):
    at_s = np.arange(0.5, 5.5, 0.371)
    edge = edge_of(("keys", steady(rate_hz)), ("guitar", plucks(rate_hz, at_s)), rate_hz=rate_hz)
    moved = transposed(edge, semitones, engine=engine)
    assert moved.mix.samples.shape == edge.mix.samples.shape
    assert moved.start_s == edge.start_s
    wanted = 330 * 2 ** (semitones / 12)
    tone = moved.sum_of("keys").samples[rate_hz:-rate_hz]
    assert cents(pitch_hz(tone, rate_hz, wanted), wanted) == pytest.approx(0.0, abs=CENTS)
    assert rms_db(tone) == pytest.approx(rms_db(edge.sum_of("keys").samples), abs=0.2)
    frames = np.round(at_s * rate_hz).astype(int)
    found = attack_frames(moved.sum_of("guitar").samples, frames, rate_hz)
    assert np.abs(found - frames).max() / rate_hz < ATTACK_S


@pytest.mark.parametrize("semitones", [-2, 2])
def test_a_voice_keeps_its_vowel_and_a_guitar_does_not(semitones):
    sung = vowel(RATE_HZ)
    moved = transposed(edge_of(("voice", sung), ("guitar", sung)), semitones)
    pitch = 140 * 2 ** (semitones / 12)
    ideal = vowel(RATE_HZ, pitch)[RATE_HZ:-RATE_HZ]  # the same mouth at the other pitch
    kept = moved.sum_of("voice").samples[RATE_HZ:-RATE_HZ]
    gone = moved.sum_of("guitar").samples[RATE_HZ:-RATE_HZ]
    assert cents(pitch_hz(kept, RATE_HZ, pitch), pitch) == pytest.approx(0, abs=CENTS)
    for formant in (650.0, 1_700.0):
        wanted = formant_hz(ideal, RATE_HZ, formant)
        assert formant_hz(kept, RATE_HZ, formant) == pytest.approx(wanted, rel=0.03)
        assert abs(formant_hz(gone, RATE_HZ, formant) / wanted - 1) > 0.06


def test_a_program_that_is_not_there_is_told_in_a_sentence(monkeypatch):
    monkeypatch.setattr("segue.render.rubber.shutil.which", lambda _: None)
    with pytest.raises(OptionError, match="'rubberband' is not installed; install it"):
        refuse_if_missing("--stretch-engine rubberband")


def test_drums_stay_bit_for_bit():
    drums = np.random.default_rng(1).standard_normal((RATE_HZ, 2)) * 0.1
    edge = edge_of(("drums", drums), ("keys", drums))
    moved = transposed(edge, 1)
    assert np.array_equal(moved.sum_of("drums").samples, edge.sum_of("drums").samples)
    assert not np.array_equal(moved.sum_of("keys").samples, edge.sum_of("keys").samples)


def test_a_mix_moves_as_a_whole_and_says_so():
    edge = edge_of(("mix", steady(RATE_HZ)))
    moved = transposed(edge, -1)
    assert any("one mix" in remark for remark in moved.remarks)
    assert transposed(edge, 0) is edge
