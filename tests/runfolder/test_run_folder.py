"""Run folders appear whole or not at all, and lose no choice."""

import pytest

from segue.errors import RunFolderError
from segue.runfolder import check_free, whole_folder
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.files.test_whole_file import names_in


def test_folder_appears_only_when_filled(tmp_path):
    out = tmp_path / "run"
    with whole_folder(out) as staging:
        (staging / "a.txt").write_text("a")
        assert not out.exists()
    assert names_in(out) == ["a.txt"]
    assert names_in(tmp_path) == ["run"]


def test_failure_leaves_nothing_behind(tmp_path):
    def fill():
        with whole_folder(tmp_path / "run") as staging:
            (staging / "a.txt").write_text("a")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fill()
    assert names_in(tmp_path) == []


def test_failure_keeps_the_earlier_run(tmp_path):
    out = tmp_path / "run"
    with whole_folder(out) as staging:
        (staging / DOCUMENT_NAME).write_text("first")

    def fill():
        with whole_folder(out) as staging:
            (staging / DOCUMENT_NAME).write_text("second")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fill()
    assert (out / DOCUMENT_NAME).read_text() == "first"
    assert names_in(tmp_path) == ["run"]


def test_a_later_run_replaces_the_whole_folder(tmp_path):
    out = tmp_path / "run"
    for name in ("first.txt", "second.txt"):
        with whole_folder(out) as staging:
            (staging / name).write_text("x")
    assert names_in(out) == ["second.txt"]
    assert names_in(tmp_path) == ["run"]


def test_other_peoples_folders_are_left_alone(tmp_path):
    (tmp_path / "holiday.jpg").write_text("x")
    with pytest.raises(RunFolderError, match="holds other files and is not a run folder"):
        check_free(tmp_path)
    with pytest.raises(RunFolderError, match="is a file"):
        check_free(tmp_path / "holiday.jpg")


def test_an_empty_or_missing_folder_is_free(tmp_path):
    check_free(tmp_path)
    check_free(tmp_path / "new")


def test_unwritable_place_is_told_in_one_sentence(tmp_path):
    (tmp_path / "file").write_text("x")

    def fill():
        with whole_folder(tmp_path / "file" / "run"):
            pass

    with pytest.raises(RunFolderError, match="cannot be written"):
        fill()
