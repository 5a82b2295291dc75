"""The installed command, as a person starts it: exit codes, what is told, which files are left."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from benchmarks._in_process import run_here
from segue.audio.clip import Clip
from segue.audio.true_peak import true_peak_dbtp
from segue.cli.between import demo_folder
from segue.runfolder import read_document
from tests.words.said import text_of_page
from tests.words.test_words import unfit


def segue(*words, cwd=None):
    return subprocess.run(
        [sys.executable, "-m", "segue", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        check=False,
        timeout=900,
    )


@pytest.fixture(scope="module", name="demo_run")
def _demo_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    done = segue("demo", "--json", "--quiet", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder / "segue-demo", json.loads(done.stdout)


def test_demo_leaves_three_candidates_that_differ_in_kind(demo_run):
    folder, report = demo_run
    families = [candidate["family"] for candidate in report["candidates"]]
    assert len(families) == len(set(families)) == 3
    scores = [candidate["score"] for candidate in report["candidates"]]
    assert scores == sorted(scores, reverse=True)
    assert {path.suffix for path in folder.iterdir()} == {".wav", ".png", ".json", ".html"}
    assert all(candidate["why"] for candidate in report["candidates"])


def test_demo_hears_what_the_demo_band_played(demo_run):
    _, report = demo_run
    truth = json.loads((demo_folder() / "truth.json").read_text())
    songs = {song["folder"]: song for song in truth["songs"]}
    for side in ("outgoing", "incoming"):
        heard = report[side]
        true = songs[heard["file"].rsplit("/", 1)[-1]]
        assert f"{heard['key']['tonic']} {heard['key']['mode']}" == true["key"]
        assert heard["tempo_bpm"] == pytest.approx(true["tempo_bpm"], rel=0.005)
        assert heard["metre"] == true["metre"]
    assert report["outgoing"]["tempo_bpm"] - report["incoming"]["tempo_bpm"] == pytest.approx(
        28, abs=0.5
    )


def test_candidates_are_24_bit_48_khz_and_peak_below_minus_one(demo_run):
    folder, report = demo_run
    for candidate in report["candidates"]:
        path = folder / candidate["music_file"]
        info = soundfile.info(path)
        assert (info.subtype, info.samplerate, info.channels) == ("PCM_24", 48_000, 2)
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
        # EBU R 128: maximum true peak -1 dBTP; the meter at 16x under-reads by 0.05 dB at most.
        assert true_peak_dbtp(Clip(samples=samples, rate_hz=rate_hz), oversampling=16) <= -0.95


def test_candidates_are_level_matched(demo_run):
    _, report = demo_run
    loudness = [candidate["loudness_lufs"] for candidate in report["candidates"]]
    # All share one target; what lies between the songs may differ by a few LU.
    assert max(loudness) - min(loudness) < 3.0


def test_buses_line_up_to_the_frame(demo_run):
    folder, _ = demo_run
    for record in read_document(folder).candidates:
        frames = {
            soundfile.info(folder / name).frames
            for name in (record.music_file, record.click_file, record.cue_file)
        }
        assert len(frames) == 1


def test_every_bar_line_of_the_interlude_is_reported_on_the_tempo(demo_run):
    folder, _ = demo_run
    for record in read_document(folder).candidates:
        plan = record.plan
        inner = [bar for bar in record.bars if bar.section == "interlude"]
        assert inner[0].time_s == pytest.approx(record.exit_s)
        beats = [plan.beat_at(bar.time_s) for bar in inner]
        assert np.allclose(np.diff(beats, n=2), 0.0, atol=1e-6)  # evenly, be it one bar or many


def test_what_a_run_shows_and_prints_has_one_name_a_thing(demo_run):
    folder, report = demo_run
    page = text_of_page((folder / "audition.html").read_text(encoding="utf-8"))
    assert "the bridge" in page
    assert not unfit(page)
    for option in report["candidates"]:
        told = run_here(["explain", str(folder), option["label"]])
        assert told.code == 0, told.err
        assert not unfit(" ".join(told.out.split()))


def test_page_is_self_contained(demo_run):
    folder, _ = demo_run
    page = (folder / "audition.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in page
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert (folder / "audition.html").stat().st_size < 6_000_000


def test_same_inputs_give_the_same_frames(demo_run, tmp_path):
    folder, report = demo_run
    first = report["candidates"][0]
    songs = sorted(path for path in demo_folder().iterdir() if path.is_dir())
    done = segue(
        "between", songs[0], songs[1], "--out", tmp_path / "again",
        "--recipe", first["recipe"], "--json", "--quiet",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    again = json.loads(done.stdout)["candidates"][0]
    for bus in ("click", "cue"):
        names = [c["music_file"].replace(".wav", f" {bus}.wav") for c in (first, again)]
        one, _ = soundfile.read(folder / names[0], dtype="int32")
        two, _ = soundfile.read(tmp_path / "again" / names[1], dtype="int32")
        assert np.array_equal(one, two)
    one, _ = soundfile.read(folder / first["music_file"])
    two, _ = soundfile.read(tmp_path / "again" / again["music_file"])
    # beside two others it is brought to the level of the quietest, and alone it is not
    lowered = np.vdot(one, two) / np.vdot(two, two)
    assert 0.5 < lowered <= 1.0 + 1e-6
    assert np.abs(one - lowered * two).max() < 2 / (1 << 23)  # both are rounded to 24 bits


@pytest.fixture(name="tone")
def _tone(tmp_path):
    rate_hz, seconds = 44_100, 12
    t = np.arange(rate_hz * seconds) / rate_hz
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.3 * np.sin(2 * np.pi * 220 * t), rate_hz)
    return path


WRONG = {
    "missing file": (["between", "no.wav", "tone.wav"], "no.wav"),
    "empty file": (["between", "empty.wav", "tone.wav"], "empty.wav"),
    "a web page named mp3": (["between", "tone.wav", "page.mp3"], "page.mp3"),
    "a folder without sound": (["between", "nothing", "tone.wav"], "nothing"),
    "no such key": (["between", "tone.wav", "tone.wav", "--key-a", "H minor"], "H minor"),
    "no such tempo": (["between", "tone.wav", "tone.wav", "--tempo-b", "5000"], "tempo 5000"),
    "no such ending": (["between", "tone.wav", "tone.wav", "--ending-a", "cut"], "cold stop"),
    "no such note": (["between", "tone.wav", "tone.wav", "--first-note-b", "X"], "not a note"),
    "no such recipe": (["between", "tone.wav", "tone.wav", "--recipe", "pd"], "not a recipe"),
    "no recipes": (["between", "tone.wav", "tone.wav", "--recipes", "nothing"], "nothing"),
    "a broken recipe": (["between", "tone.wav", "tone.wav", "--recipes", "bad"], "bad.toml"),
    "rate too low": (["between", "tone.wav", "tone.wav", "--rate", "8"], "--rate 8"),
    "edge too short": (["between", "tone.wav", "tone.wav", "--edge-seconds", "1"], "seconds 1"),
    "no such option": (["between", "tone.wav", "tone.wav", "--tempi", "3"], "--tempi"),
    "no such command": (["betwen", "tone.wav", "tone.wav"], "betwen"),
}


@pytest.fixture(name="wrong_files")
def _wrong_files(tmp_path, tone):
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "page.mp3").write_text("<html><body>no song here</body></html>")
    (tmp_path / "nothing").mkdir()
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "bad.toml").write_text("schema_version = 1\nname = 3\n")


@pytest.mark.parametrize(("words", "named"), WRONG.values(), ids=WRONG.keys())
@pytest.mark.usefixtures("wrong_files")
def test_bad_input_gets_one_sentence_and_leaves_nothing(words, named, tmp_path, monkeypatch):
    """In this process: starting one costs more than refusing does."""
    before = sorted(path.name for path in tmp_path.iterdir())
    if words[0] == "between":
        words = [*words, "--out", str(tmp_path / "out"), "--workers", "1"]
    monkeypatch.chdir(tmp_path)
    told = run_here(words)
    assert told.code == 2
    assert named in told.err
    assert "Traceback" not in told.err
    assert told.out == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.usefixtures("wrong_files")
def test_bad_input_ends_the_installed_command_with_2(tmp_path):
    done = segue("between", "empty.wav", "tone.wav", "--out", "out", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "empty.wav" in done.stderr
    assert "Traceback" not in done.stderr


def test_silence_into_a_tone_still_gives_three_ways_and_says_what_is_unsure(tmp_path, tone):
    soundfile.write(tmp_path / "silence.wav", np.zeros((44_100 * 12, 2)), 44_100)
    done = segue(
        "between", tmp_path / "silence.wav", tone, "--out", tmp_path / "run",
        "--rate", "22050", "--json", "--quiet",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert len(report["candidates"]) == 3
    assert any("No clear pulse" in doubt for doubt in report["outgoing"]["doubts"])


def test_analyse_prints_the_promised_object(tone):
    done = segue("analyse", tone, "--edge", "end", "--json", "--quiet")
    assert done.returncode == 0, done.stderr
    (facts,) = json.loads(done.stdout)
    assert set(facts) >= {
        "file", "edge", "key", "tuning_cents", "tempo_bpm", "tempo_alternatives_bpm", "metre",
        "beats_s", "downbeats_s", "beat_confidence", "loudness_lufs", "true_peak_dbtp", "ending",
        "first_note",
    }  # fmt: skip
    assert set(facts["key"]) == {"tonic", "mode", "confidence", "runners_up"}
    assert facts["edge"] == "end"
    # 0.3 of full scale in one channel of a sine, the other alike: 20 log10(0.3) = -10.46 dBTP.
    assert facts["true_peak_dbtp"] == pytest.approx(-10.46, abs=0.2)


def test_recipes_are_listed_for_people_and_for_machines():
    people, machines = segue("recipes"), segue("recipes", "--json")
    names = [recipe["name"] for recipe in json.loads(machines.stdout)]
    assert len(names) >= 4
    assert all(name.split()[0] in people.stdout for name in names)


def test_starting_the_command_line_loads_no_heavy_library():
    code = (
        "import sys, segue.cli, segue.cli.app;"
        "print([m for m in ('numpy','scipy','pydantic','numba','librosa','pedalboard','matplotlib',"
        "'jinja2') "
        "if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"


def test_version_is_told():
    from segue import __version__

    assert segue("--version").stdout == f"segue {__version__}\n"


@pytest.mark.parametrize(
    "words", [["--nonsense"], ["--new-tempo", "fast", "--out", "x"], ["--out", "x"]], ids="".join
)
def test_what_is_refused_waits_for_nothing_that_was_begun(words, tmp_path):
    """Others begin to load at once; whoever reads the refusal through a pipe need not wait."""
    (tmp_path / "never_loaded.py").write_text("import time; time.sleep(3_600)")
    of_command = (
        "from segue.cli import boundary; boundary.JOB_MODULES = ('never_loaded',); boundary.main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", of_command, "between", "none.wav", "neither.wav", *words],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        cwd=tmp_path,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[2]), str(tmp_path)]),
        },
    )
    assert done.returncode == 2, done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk here that is always full")
@pytest.mark.parametrize("words", [["--version"], ["recipes"]], ids="".join)
def test_output_that_cannot_be_written_is_no_fault_of_ours(words):
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "segue", *words],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=300,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith("segue: the output: cannot be used (No space left on device)")
    assert done.stderr.count("\n") == 1
