"""``segue set`` as a person starts it, on two demo songs."""

import json
import subprocess
import sys

from segue.cli.between import demo_folder
from segue.setlist.set_document import read_evening
from segue.setlist.set_file import read_set


def segue(*words):
    return subprocess.run(
        [sys.executable, "-m", "segue", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
    )


def test_an_evening_is_planned_in_a_better_order_and_the_own_file_is_kept(tmp_path):
    truth = json.loads((demo_folder() / "truth.json").read_text())["songs"]
    songs = [truth[0], truth[1]]
    text = 'schema_version = 1\ntitle = "Night"\nslot = "2m"\n'
    for song, pin in zip(songs, ("closes = true", "opens = true"), strict=True):
        path = json.dumps(str(demo_folder() / song["folder"]))
        text += f'[[songs]]\npath = {path}\n{pin}\ntalk = "8s"\nsegue = false\n'
    own = tmp_path / "own.toml"
    own.write_text(text)
    out = tmp_path / "night"
    done = segue("set", own, "--out", out, "--plan-only", "--reorder", "--json", "--workers", 1)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["order"]["places"] == [2, 1]
    assert own.read_text() == text
    assert [s.title for s in read_set(out / "reordered.toml").songs] == [
        song["title"] for song in reversed(songs)
    ]
    assert [song["keys"] for song in report["songs"]] == [s["key"] for s in reversed(songs)]
    assert abs(report["running_s"] - sum(s["length_s"] for s in songs) - 8) < 0.01
    assert any(words.startswith("Too long by") for words in report["warnings"])
    assert any("without a segue" in words for words in report["warnings"])
    assert {path.name for path in out.iterdir()} >= {"set.json", "evening.png", "reordered.toml"}
    assert [song.title for song in read_evening(out).songs] == [s["title"] for s in reversed(songs)]


def test_a_faulty_set_is_told_and_nothing_is_written(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('schema_version = 1\ntitle = "x"\n[[songs]]\npath = "a.wav"\ndrve = 3\n')
    done = segue("set", own, "--out", tmp_path / "night")
    assert done.returncode == 2
    assert f"{own}:5: 'drve' is no field of song 1. Did you mean 'drive'?" in done.stderr
    assert not (tmp_path / "night").exists()
