"""Files that appear whole, and what killed writers leave inside a folder."""

import os
import signal

import pytest

from benchmarks._in_process import code_of, forked
from segue.errors import RunFolderError
from segue.files.sole_writer import sole_writer, sweep_inside
from segue.files.whole_file import sweep_parts, write_whole
from segue.runfolder import whole_folder


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_replaced_and_keeps_its_rights(tmp_path):
    path = tmp_path / "set.json"
    write_whole(path, b"old")
    assert path.stat().st_mode & 0o777 == 0o644
    path.chmod(0o600)
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o600
    assert names_in(tmp_path) == ["set.json"]


def test_a_disk_that_is_full_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "set.json"
    write_whole(path, b"old")

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert names_in(tmp_path) == ["set.json"]


def test_parts_of_one_file_are_swept_and_those_of_others_left(tmp_path):
    for name in (".set.json-dead", ".other.json-alive", "set.json"):
        (tmp_path / name).write_text("x")
    sweep_parts(tmp_path / "set.json")
    assert names_in(tmp_path) == [".other.json-alive", "set.json"]


def dies_writing(out):
    def task():
        with whole_folder(out) as staging:
            (staging / "a.txt").write_text("half")
            os.kill(os.getpid(), signal.SIGKILL)
        return 0

    assert code_of(forked(task)) == -signal.SIGKILL


@pytest.mark.skipif(not hasattr(os, "fork"), reason="dies in a copy of itself")
def test_what_the_dead_left_inside_is_swept_and_the_living_are_left_alone(tmp_path):
    dies_writing(tmp_path / "01 dead")
    assert len(names_in(tmp_path)) == 2
    with whole_folder(tmp_path / "02 alive") as staging:
        sweep_inside(tmp_path)
        assert staging.is_dir()
        with pytest.raises(RunFolderError), sole_writer(tmp_path / "02 alive"):
            pass
    assert names_in(tmp_path) == ["02 alive"]
