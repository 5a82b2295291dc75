"""``segue path``, as a person starts it."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from segue.audio.clip import Clip
from segue.audio.true_peak import true_peak_dbtp

RATE_HZ = 48_000


def segue_path(*words, path=None, cwd=None):
    env = dict(os.environ) if path is None else {**os.environ, "PATH": str(path)}
    return subprocess.run(
        [sys.executable, "-m", "segue", "path", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=env,
        check=False,
        timeout=600,
    )


@pytest.fixture(scope="module", name="report")
def _report():
    done = segue_path("E minor", "F minor", "--chords", "8", "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_people_read_chords_numerals_notes_and_advice():
    done = segue_path("E minor", "F minor", "--chords", "8")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == (
        "F minor is a semitone up from E minor, which reads as a lift (distance 0.84 of 1)."
    )
    pivot = next(line for line in lines if line.rstrip().endswith("pivot"))
    assert pivot.split() == ["5", "C", "VI", "V", "C3", "E4", "G4", "C5", "pivot"]
    assert "With the second song a semitone down, in E minor" in done.stdout
    assert "0 of 3" in done.stdout


def test_near_keys_get_no_advice():
    done = segue_path("C major", "G major")
    assert done.returncode == 0, done.stderr
    assert "second song" not in done.stdout


def test_machines_read_the_same_chords(report):
    symbols = [chord["symbol"] for chord in report["chords"]]
    assert symbols[0] == "Em"
    assert symbols[-2:] == ["C7", "Fm"]
    assert len(symbols) == 8 + 1
    assert sum(chord["is_pivot"] for chord in report["chords"]) == 1
    for chord in report["chords"]:
        assert chord["notes_midi"] == sorted(set(chord["notes_midi"]))
        assert len(chord["notes"]) == len(chord["notes_midi"]) == 4
    assert [move["semitones"] for move in report["transposition"]["moves"]] == [-2, -1, 0, 1, 2]


@pytest.mark.parametrize(
    ("cadence", "last"),
    [
        pytest.param("dominant", "V7", id="dominant"),
        pytest.param("subdominant", "iv", id="subdominant"),
        pytest.param("flat seventh", "VII", id="flat seventh"),
    ],
)
def test_the_cadence_is_heard_last(cadence, last):
    done = segue_path("E minor", "F minor", "--cadence", cadence, "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["chords"][-2]["roman_to"] == last


@pytest.fixture(scope="module", name="sound")
def _sound(tmp_path_factory):
    out = tmp_path_factory.mktemp("path") / "path.wav"
    words = ("A minor", "C major", "--chords", "2", "--tempo", "120")
    done = segue_path(*words, "--out", out, "--json")
    assert done.returncode == 0, done.stderr
    return out, json.loads(done.stdout)


def test_the_sound_is_a_24_bit_wav_below_the_ceiling(sound):
    out, report = sound
    assert report["out"] == str(out)
    info = soundfile.info(out)
    assert (info.subtype, info.samplerate, info.channels) == ("PCM_24", RATE_HZ, 2)
    # Three chords of four beats and two beats of hall at 120 BPM.
    assert info.frames == pytest.approx(14 * 0.5 * RATE_HZ, abs=1)
    samples, rate_hz = soundfile.read(out, dtype="float32")
    # EBU R 128: maximum true peak -1 dBTP; the meter at 16x under-reads by 0.05 dB at most.
    assert true_peak_dbtp(Clip(samples=samples, rate_hz=rate_hz), oversampling=16) <= -0.95


def test_the_chords_sound_in_their_order(sound):
    out, report = sound
    samples, _ = soundfile.read(out, dtype="float64")
    for n, chord in enumerate(report["chords"]):
        bar = samples[(2 * n + 1) * RATE_HZ : (2 * n + 2) * RATE_HZ].mean(axis=1)
        power = np.abs(np.fft.rfft(bar * np.hanning(len(bar)))) ** 2  # bins of 1 Hz

        def level(midi, power=power):
            hertz = round(440 * 2 ** ((midi - 69) / 12))
            return power[hertz - 4 : hertz + 5].sum()

        foreign = [m for m in range(57, 70) if all((m - k) % 12 for k in chord["notes_midi"])]
        loudest_foreign = max(level(midi) for midi in foreign)
        assert all(level(midi) > loudest_foreign for midi in chord["notes_midi"][1:3])


WRONG = {
    "no such key": (["H minor", "F minor"], "'H minor' is not a key"),
    "too many chords": (["E minor", "F minor", "--chords", "40"], "--chords 40 is outside 1 to 16"),
    "no chord": (["E minor", "F minor", "--chords", "0"], "--chords 0 is outside 1 to 16"),
    "too fast": (["E minor", "F minor", "--tempo", "900"], "--tempo 900 is outside 30 to 300"),
    "no such cadence": (["C", "G", "--cadence", "dominnt"], "Did you mean 'dominant'?"),
    "not a WAV": (["C", "G", "--out", "path.mp3"], "ends in .wav"),
}


@pytest.mark.parametrize(("words", "told"), WRONG.values(), ids=WRONG.keys())
def test_bad_input_gets_one_sentence_and_leaves_nothing(words, told, tmp_path):
    done = segue_path(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_without_a_player_the_person_is_told_what_to_do(tmp_path):
    done = segue_path("C", "G", "--play", path=tmp_path)
    assert done.returncode == 2
    assert "write the sound with --out FILE.wav" in done.stderr


def fake_player(folder, script):
    player = folder / "paplay"
    player.write_text(f"#!/bin/sh\n{script}\n")
    player.chmod(0o755)


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the player")
def test_a_player_that_is_found_gets_the_sound(tmp_path):
    fake_player(tmp_path, f'echo "$1" > {tmp_path}/played')
    out = tmp_path / "path.wav"
    done = segue_path(
        "C", "G", "--chords", "1", "--tempo", "240", "--play", "--out", out, path=tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "played").read_text().strip() == str(out)


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the player")
def test_a_player_that_fails_is_told_with_its_reason(tmp_path):
    fake_player(tmp_path, "echo no loudspeaker here >&2; exit 1")
    done = segue_path("C", "G", "--chords", "1", "--tempo", "240", "--play", path=tmp_path)
    assert done.returncode == 2
    assert "paplay could not play the sound (no loudspeaker here)" in done.stderr
