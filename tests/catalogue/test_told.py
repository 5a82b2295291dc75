"""What ``segue catalogue`` and ``segue neighbours`` print, as a newcomer meets it."""

import json
import shlex

import pytest

from benchmarks._in_process import run_here
from segue.catalogue import open_store
from segue.catalogue.store import Listed
from segue.hearing import listener_digest
from tests.plan.song_facts import end_facts, start_facts, unheard

SONGS = {
    "Gravel Lane": (start_facts("A minor", 110.0), end_facts("G major", 110.0, kind="fade")),
    "Paper Lantern": (start_facts("F minor", 96.0), end_facts("Eb major", 96.0)),
    "Talk": (unheard(start_facts("C major", 120.0)), unheard(end_facts("C major", 120.0))),
}


@pytest.fixture(name="file")
def _file(tmp_path):
    """A catalogue of two songs and speech."""
    file = tmp_path / "songs.sqlite"
    with open_store(file) as store:
        for title, edges in SONGS.items():
            store.list_song(Listed(path=f"/my songs/{title}.wav", title=title, stamp="",
                                   content=title))  # fmt: skip
            store.keep_heard(title, f"{listener_digest()} 45 s", edges)
    return file


def told(monkeypatch, *words):
    monkeypatch.setenv("COLUMNS", "150")
    done = run_here([str(word) for word in words])
    assert not done.err.strip(), done.err
    return done.out


def test_the_song_that_was_asked_for_is_told_once_and_steps_beside_each(file, monkeypatch):
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file).splitlines()
    assert out[0] == "After 'Gravel Lane' (at its end: G major, 110 BPM; fades):"
    assert out[1].split() == ["song", "cost", "key", "tempo", "level", "starts"]
    lantern = next(line for line in out if "Paper Lantern" in line)
    assert "F minor, a whole tone down" in lantern
    assert "96 BPM, 13% slower" in lantern


def test_speech_has_no_key_and_no_tempo(file, monkeypatch):
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file)
    row = next(line for line in out.splitlines() if "Talk" in line)
    assert "none heard" in row
    assert "free time" in row
    assert "C major" not in out
    assert "120 BPM" not in out
    assert "A key that was not heard costs nothing." in out
    about = told(monkeypatch, "neighbours", "Talk", "--catalogue", file).splitlines()[0]
    assert about == "After 'Talk' (at its end: no key heard, free time; keeps going to the end):"


def test_json_tells_what_is_unknown_as_null(file, monkeypatch):
    rows = json.loads(told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file, "--json"))
    talk = next(row for row in rows if row["title"] == "Talk")
    assert (talk["key"], talk["tempo_bpm"]) == (None, None)
    assert talk["reasons"][:2] == ["G major, then none heard", "110 BPM to free time"]


@pytest.mark.parametrize("before", [False, True])
def test_the_last_line_is_the_next_command(file, monkeypatch, before):
    words = ["neighbours", "Gravel Lane", "--catalogue", file, *(["--before"] * before)]
    words += ["--top", "1"]
    line = shlex.split(told(monkeypatch, *words).splitlines()[-1].partition(": ")[2])
    assert line[:2] == ["segue", "between"]
    assert line[2 + before] == "/my songs/Gravel Lane.wav"
    assert line[-2:] == ["--out", "DIR"]


def test_songs_that_another_segue_heard_are_told(file, monkeypatch):
    with open_store(file) as store:
        store.keep_heard("Talk", "another 45 s", SONGS["Talk"])
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file)
    assert "1 song heard by another version of Segue" in out.splitlines()[-1]


def test_all_pairs_say_where_they_are(file, monkeypatch):
    out = told(monkeypatch, "neighbours", "--all", "--catalogue", file, "--quiet")
    assert "3 songs compared. The best 2 after each are in" in out
    assert "'followers'" in out
    values = json.loads(
        told(monkeypatch, "neighbours", "--all", "--catalogue", file, "--quiet", "--json")
    )
    assert (values["n_songs"], values["by_title"]) == (3, "followers")


def test_a_folder_without_songs_is_told_so(tmp_path, monkeypatch):
    out = told(monkeypatch, "catalogue", tmp_path, "--to", tmp_path / "x.sqlite", "--quiet")
    assert out.startswith(f"No songs in {tmp_path}; name a folder with audio files")
    assert list(tmp_path.iterdir()) == []  # and no empty catalogue is left


def test_only_broken_songs_lead_to_no_next_command(tmp_path, monkeypatch):
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / "words.wav").write_text("no sound")
    file = tmp_path / "x.sqlite"
    out = told(monkeypatch, "catalogue", tmp_path / "songs", "--to", file, "--workers", "1")
    assert "1 song in" in out
    assert "1 skipped" in out
    assert "segue neighbours" not in out
    done = run_here(["neighbours", "words", "--catalogue", str(file)])
    assert "could not be heard when the catalogue was made" in done.err
    assert "words.wav: is not audio" in done.err
