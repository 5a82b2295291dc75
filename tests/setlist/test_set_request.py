"""One writer at a time for an evening; what a killed one left is swept by the next."""

import os
from pathlib import Path

import pytest

from segue.errors import InputError, RunFolderError
from segue.setlist.set_request import evening_writer, is_of_evening
from tests.files.test_whole_file import names_in


def test_a_second_writer_is_told_and_the_first_goes_on(tmp_path):
    out = tmp_path / "evening"
    with evening_writer(out):
        with (
            pytest.raises(RunFolderError, match="evening: is being written by another Segue"),
            evening_writer(out),
        ):
            pass
        (out / "set.json").write_text("{}")
    with evening_writer(out):
        pass
    assert names_in(out) == ["set.json"]


def test_a_folder_that_another_makes_at_the_same_moment_is_written_all_the_same(
    tmp_path, monkeypatch
):
    out = tmp_path / "evening"
    is_dir = Path.is_dir

    def looked_at_just_before_it_is_made(place):
        there = is_dir(place)
        if place == out and not there:
            out.mkdir()
        return there

    monkeypatch.setattr(Path, "is_dir", looked_at_just_before_it_is_made)
    with evening_writer(out):
        (out / "set.json").write_text("{}")
    assert (out / "set.json").exists()


def test_a_folder_that_was_made_for_nothing_is_taken_away(tmp_path):
    with evening_writer(tmp_path / "a" / "evening"):
        pass
    assert not (tmp_path / "a" / "evening").exists()


def test_what_a_killed_writer_left_is_swept_and_all_else_is_kept(tmp_path):
    run = tmp_path / "01 Low Tide to Harbour"
    run.mkdir()
    (run / "segue.json").write_text("{}")
    kept = [".hidden", "notes.txt", "set.json"]
    dead = [".set.json-a1", ".index.html-b2", ".evening.png-c3", ".reordered.toml-d4",
            ".segue-0123456789ab.lock"]  # fmt: skip
    for name in (*kept, *dead):
        (tmp_path / name).write_text("x")
    (tmp_path / ".segue-0123456789ab-new-x1").mkdir()
    (run / ".segue.json-e5").write_text("half")
    with evening_writer(tmp_path):
        assert not any((tmp_path / name).exists() for name in dead)
    assert names_in(tmp_path) == sorted([*kept, run.name])
    assert names_in(run) == ["segue.json"]


def test_what_an_evening_may_have_before_its_document():
    assert all(map(is_of_evening, ("reordered.toml", ".set.json-x", ".segue-0123456789ab.lock")))
    assert not any(map(is_of_evening, ("notes.txt", "segue", "set.toml", ".hidden")))


@pytest.mark.skipif(os.name == "nt", reason="a file is no folder there either, but says otherwise")
def test_a_place_that_cannot_be_a_folder_is_told(tmp_path):
    (tmp_path / "file").write_text("x")
    with (
        pytest.raises(InputError, match=r"cannot be written .*: choose another --out"),
        evening_writer(tmp_path / "file" / "evening"),
    ):
        pass
