"""What ``segue catalogue`` and ``segue neighbours`` print, as a newcomer meets it."""

import dataclasses
import json
import math
import os
import shlex
import shutil
import sqlite3
from pathlib import Path

import pytest

from benchmarks._in_process import run_here
from segue.catalogue import NOTHING, open_store
from segue.catalogue import store as store_module
from segue.catalogue.scan import song_at
from segue.catalogue.store import Listed
from segue.cli.catalogue_tables import print_report
from segue.heard.hearing import listener_digest
from tests.catalogue.tiny_songs import write_song
from tests.plan.song_facts import end_facts, start_facts, unheard

SONGS = {
    "Gravel Lane": (start_facts("A minor", 110.0), end_facts("G major", 110.0, kind="fade")),
    "Paper Lantern": (start_facts("F minor", 96.0), end_facts("Eb major", 96.0)),
    "Talk": (unheard(start_facts("C major", 120.0)), unheard(end_facts("C major", 120.0))),
}


@pytest.fixture(name="file")
def _file(tmp_path):
    """A catalogue of two songs and speech."""
    file, songs = tmp_path / "songs.sqlite", tmp_path / "my songs"
    songs.mkdir()
    with open_store(file) as store:
        for title, edges in SONGS.items():
            path = songs / f"{title}.wav"
            path.touch()
            stamp = song_at(path).stamp()
            store.list_song(Listed(path=str(path), title=title, stamp=stamp, content=title))
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
    assert out[1].split() == ["song", "fit", "key", "tempo", "level", "starts"]
    lantern = next(line for line in out if "Paper Lantern" in line)
    assert "F minor, down a whole tone" in lantern
    assert "96 BPM, 13 % slower" in lantern


def test_speech_has_no_key_and_no_tempo(file, monkeypatch):
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file)
    row = next(line for line in out.splitlines() if "Talk" in line)
    assert "none heard" in row
    assert "free time" in row
    assert "C major" not in out
    assert "120 BPM" not in out
    assert "A key that was not heard counts as easy." in out
    about = told(monkeypatch, "neighbours", "Talk", "--catalogue", file).splitlines()[0]
    assert about == "After 'Talk' (at its end: no key heard, free time; keeps going to the end):"


def test_json_tells_what_is_unknown_as_null(file, monkeypatch):
    found = json.loads(
        told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file, "--json")
    )
    talk = next(row for row in found["neighbours"] if row["title"] == "Talk")
    assert (talk["key"], talk["tempo_bpm"]) == (None, None)
    assert talk["reasons"][:2] == ["G major, then none heard", "110 BPM to free time"]


@pytest.mark.parametrize("before", [False, True])
def test_json_tells_the_song_and_the_steps_as_numbers(file, monkeypatch, before):
    words = ["neighbours", "Gravel Lane", "--catalogue", file, "--json", *(["--before"] * before)]
    found = json.loads(told(monkeypatch, *words))
    own = found["song"]
    assert own["path"] == str(file.parent / "my songs" / "Gravel Lane.wav")
    assert (own["key"], own["kind"]) == (
        ("A minor", "on the beat") if before else ("G major", "fade")
    )
    lantern = next(row for row in found["neighbours"] if row["title"] == "Paper Lantern")
    # Eb major to A minor; or G major to F minor
    assert lantern["step"]["tonic_semitones"] == (6 if before else -2)
    ratio = 110 / 96 if before else 96 / 110
    assert lantern["step"]["tempo_octaves"] == pytest.approx(math.log2(ratio))
    level_lu = lantern["loudness_lufs"] - own["loudness_lufs"]
    assert lantern["step"]["loudness_lu"] == pytest.approx(-level_lu if before else level_lu)


def test_songs_whose_files_are_gone_are_marked_and_lead_nowhere(file, monkeypatch):
    (file.parent / "my songs" / "Talk.wav").unlink()
    words = ("neighbours", "Gravel Lane", "--catalogue", file)
    out = told(monkeypatch, *words)
    assert "Talk (file not found)" in out
    assert "Talk.wav" not in out.splitlines()[-1]
    assert "Paper Lantern.wav" in out.splitlines()[-1]
    (file.parent / "my songs" / "Paper Lantern.wav").unlink()
    assert "is the disk plugged in?" in told(monkeypatch, *words).splitlines()[-1]


def test_a_song_that_changed_since_is_marked(file, monkeypatch):
    (file.parent / "my songs" / "Talk.wav").write_text("otherwise")
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file)
    assert "Talk (changed since it was heard)" in out


def test_before_all_songs_is_refused_with_what_all_keeps(file):
    done = run_here(["neighbours", "--all", "--before", "--catalogue", str(file)])
    assert "--all keeps what could follow each song best" in done.err


def test_a_list_that_nobody_reads_is_refused(file):
    done = run_here(["neighbours", "--all", "--top", "100000", "--catalogue", str(file)])
    assert done.code == 2
    assert "less than or equal to 1000" in done.err


@pytest.mark.parametrize("before", [False, True])
def test_the_last_line_is_the_next_command(file, monkeypatch, before):
    words = ["neighbours", "Gravel Lane", "--catalogue", file, *(["--before"] * before)]
    words += ["--top", "1"]
    line = shlex.split(told(monkeypatch, *words).splitlines()[-1].partition(": ")[2])
    assert line[:2] == ["segue", "between"]
    assert line[2 + before] == str(file.parent / "my songs" / "Gravel Lane.wav")
    assert line[-2:] == ["--out", "DIR"]


def test_songs_that_another_segue_heard_are_told(file, monkeypatch):
    with open_store(file) as store:
        store.keep_heard("Talk", "another 45 s", SONGS["Talk"])
    out = told(monkeypatch, "neighbours", "Gravel Lane", "--catalogue", file)
    assert "1 song heard by another version of Segue" in out.splitlines()[-1]


def test_all_pairs_say_where_they_are(file, monkeypatch):
    out = told(monkeypatch, "neighbours", "--all", "--catalogue", file, "--quiet")
    assert "3 songs compared. The best 2 after each are in" in out
    assert "'could_follow'" in out
    values = json.loads(
        told(monkeypatch, "neighbours", "--all", "--catalogue", file, "--quiet", "--json")
    )
    assert (values["n_songs"], values["by_title"]) == (3, "could_follow")


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


def counts(monkeypatch, tmp_path, *folders):
    file = tmp_path / "x.sqlite"
    return told(monkeypatch, "catalogue", *folders, "--to", file, "--workers", "1")


def test_the_songs_of_this_run_are_told_apart_from_those_of_the_file(tmp_path, monkeypatch):
    write_song(tmp_path / "a" / "One.wav", 1)
    shutil.copy(tmp_path / "a" / "One.wav", tmp_path / "a" / "Two.wav")
    write_song(tmp_path / "b" / "Three.wav", 3)
    file = tmp_path / "x.sqlite"
    first = counts(monkeypatch, tmp_path, tmp_path / "a").splitlines()[0]
    assert first == f"2 songs in {file}: 1 heard now, 1 the same as another."
    second = counts(monkeypatch, tmp_path, tmp_path / "b").splitlines()[0]
    assert second == f"1 song found; 3 in {file}: 1 heard now."
    third = counts(monkeypatch, tmp_path, tmp_path / "a").splitlines()[0]
    assert third == f"2 songs found; 3 in {file}: 1 known already, 1 the same as another."


def test_only_what_is_lacking_is_told(monkeypatch, capsys):
    for n_keyless, n_free, said in (
        (0, 1, "No pulse was heard at an end of 1 song."),
        (2, 0, "No key was heard at an end of 2 songs."),
        (0, 0, ""),
    ):
        report = dataclasses.replace(NOTHING, n_songs=2, n_keyless=n_keyless, n_free=n_free)
        print_report(report, [], Path("x"), json=False, quiet=False)
        assert capsys.readouterr().out.partition("\n")[2].strip() == said


def test_folders_of_stems_are_told(tmp_path, monkeypatch):
    for name in ("drums", "bass"):
        write_song(tmp_path / "songs" / "Band" / f"{name}.wav", 1)
    write_song(tmp_path / "songs" / "One.wav", 2)
    out = counts(monkeypatch, tmp_path, tmp_path / "songs")
    assert out.startswith("2 songs (1 of them a folder of stems) in")
    words = ("catalogue", tmp_path / "songs", "--to", tmp_path / "x.sqlite", "--json", "--quiet")
    report = json.loads(told(monkeypatch, *words, "--workers", "1"))
    assert report["stem_folders"] == [str(tmp_path / "songs" / "Band")]


def test_a_name_that_is_no_text_goes_all_the_way(tmp_path, monkeypatch):
    write_song(tmp_path / "songs" / "One.wav", 1)
    odd = tmp_path / "songs" / os.fsdecode(b"caf\xe9.wav")
    try:
        shutil.copy(tmp_path / "songs" / "One.wav", odd)
    except OSError:
        pytest.skip("this disk takes no such name")
    write_song(tmp_path / "songs" / "Two.wav", 2)
    file = tmp_path / "x.sqlite"
    assert counts(monkeypatch, tmp_path, tmp_path / "songs").startswith("3 songs in")
    with open_store(file) as store:
        assert store.listed(str(odd)).title == "caf\\udce9"
        assert str(odd) in {song.path for song in store.all_listed()}
    write_song(tmp_path / "other.wav", 3)
    shutil.copy(tmp_path / "other.wav", odd)
    assert "1 heard now, 2 known" in counts(monkeypatch, tmp_path, tmp_path / "songs")
    for song in (str(odd), "Two"):
        out = told(monkeypatch, "neighbours", song, "--catalogue", file)
        out += told(monkeypatch, "neighbours", song, "--catalogue", file, "--json")
        assert "caf\\udce9" in out
    odd.unlink()
    assert "1 removed" in counts(monkeypatch, tmp_path, tmp_path / "songs")


def test_a_file_that_another_run_writes_is_told_so(file, tmp_path, monkeypatch):
    monkeypatch.setattr(store_module, "_PATIENCE_S", 0.01)
    write_song(tmp_path / "songs" / "One.wav", 1)
    other = sqlite3.connect(file, isolation_level=None)
    try:
        for lock in ("IMMEDIATE", "EXCLUSIVE"):
            other.execute(f"BEGIN {lock}")
            done = run_here(["catalogue", str(tmp_path / "songs"), "--to", str(file)])
            assert "another run is writing it: wait until it is done." in done.err
            other.execute("ROLLBACK")
    finally:
        other.close()
