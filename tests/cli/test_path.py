"""``segue path``, as a person starts it."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from benchmarks._in_process import run_here
from segue.audio.clip import Clip
from segue.audio.true_peak import true_peak_dbtp
from segue.pages import TURN_DOWN

RATE_HZ = 48_000


def segue_path(*words):
    """What the command tells, run in this process."""
    return run_here(["path", *map(str, words)])


@pytest.fixture(scope="module", name="report")
def _report():
    done = segue_path("E minor", "F minor", "--chords", "8", "--json")
    assert done.code == 0, done.err
    return json.loads(done.out)


def test_the_installed_command_tells_the_same(report):
    line = [sys.executable, "-m", "segue", "path", "E minor", "F minor", "--chords", "8", "--json"]
    done = subprocess.run(line, capture_output=True, text=True, check=True, timeout=600)
    assert json.loads(done.stdout) == report


def test_people_read_chords_numerals_notes_and_advice():
    done = segue_path("E minor", "F minor", "--chords", "8")
    assert done.code == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == (
        "E minor to F minor, up a semitone, which reads as a lift: "
        "a hard change (0.84; 1 is hardest)."
    )
    pivot = next(line for line in lines if line.rstrip().endswith("pivot"))
    assert pivot.split() == ["5", "C", "VI", "V", "C3", "E4", "G4", "C5", "pivot"]
    assert "With the new song a semitone down, in E minor" in done.out
    assert "0 of 3" in done.out


def test_keys_are_printed_as_they_were_typed_and_notes_in_their_key():
    lines = segue_path("Gb major", "A# minor").out.splitlines()
    assert lines[0].startswith("Gb major to A# minor,")
    assert lines[2].split()[1:7] == ["in", "Gb", "major", "in", "A#", "minor"]
    lines = segue_path("B major", "F# major").out.splitlines()
    rows = {words[1]: words for words in map(str.split, lines) if len(words) > 5}
    assert rows["D#m"][3] == "vi"
    assert rows["C#7"][4:8] == ["C#3", "B3", "E#4", "G#4"]


def test_near_keys_get_no_advice():
    done = segue_path("C major", "G major")
    assert done.code == 0, done.err
    assert "new song" not in done.out


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
    assert done.code == 0, done.err
    assert json.loads(done.out)["chords"][-2]["roman_to"] == last


@pytest.fixture(scope="module", name="sound")
def _sound(tmp_path_factory):
    out = tmp_path_factory.mktemp("path") / "path.wav"
    words = ("A minor", "C major", "--chords", "2", "--tempo", "120")
    done = segue_path(*words, "--out", out, "--json")
    assert done.code == 0, done.err
    return out, json.loads(done.out)


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
def test_bad_input_gets_one_sentence_and_leaves_nothing(words, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = segue_path(*words)
    assert done.code == 2
    assert told in done.err
    assert len(done.err.splitlines()) == 1
    assert done.out == ""
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(name="players")
def _players(tmp_path, monkeypatch):
    """The only folder that players are looked for in."""
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path


@pytest.mark.usefixtures("players")
def test_without_a_player_the_person_is_told_what_to_do():
    done = segue_path("C", "G", "--play")
    assert done.code == 2
    assert "write the sound with --out FILE.wav" in done.err


def fake_player(folder, script):
    player = folder / "paplay"
    player.write_text(f"#!/bin/sh\n{script}\n")
    player.chmod(0o755)


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the player")
def test_a_player_that_is_found_gets_the_sound(players):
    fake_player(players, f'echo "$1" > {players}/played')
    out = players / "path.wav"
    done = segue_path("C", "G", "--chords", "1", "--tempo", "240", "--play", "--out", out)
    assert done.code == 0, done.err
    assert (players / "played").read_text().strip() == str(out)
    assert TURN_DOWN in done.err


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the player")
def test_the_caution_comes_before_the_sound_and_not_among_the_facts(players):
    fake_player(players, "echo the sound >&2; exit 1")
    done = segue_path("C", "G", "--chords", "1", "--tempo", "240", "--play", "--json")
    assert done.err.index(TURN_DOWN) < done.err.index("the sound")
    assert TURN_DOWN not in done.out


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for the player")
def test_a_player_that_fails_is_told_with_its_reason(players):
    fake_player(players, "echo no loudspeaker here >&2; exit 1")
    done = segue_path("C", "G", "--chords", "1", "--tempo", "240", "--play")
    assert done.code == 2
    assert "paplay could not play the sound (no loudspeaker here)" in done.err
