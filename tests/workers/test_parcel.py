"""What comes back from other machines is written whole, and never over what changed here."""

import pytest

from segue.errors import RunFolderError
from segue.runfolder import whole_folder
from segue.workers.parcel import changed, packed, unpacked, write_back


@pytest.fixture
def made_elsewhere(tmp_path):
    run = tmp_path / "run"
    run.mkdir()
    for name in ("kept.txt", "new.txt", "gone.txt"):
        (run / name).write_text("old")
    parcel = packed((run,))
    away = tmp_path / "away"
    away.mkdir()
    _, (root,) = unpacked((run,), parcel, away)
    (root / "new.txt").write_text("new")
    (root / "more").mkdir()
    (root / "more" / "added.txt").write_text("added")
    (root / "gone.txt").unlink()
    return run, parcel, changed(parcel, (root,))


def texts_in(run):
    return {
        path.relative_to(run).as_posix(): path.read_text()
        for path in run.rglob("*")
        if path.is_file()
    }


OLD = dict.fromkeys(("kept.txt", "new.txt", "gone.txt"), "old")
NEW = {"kept.txt": "old", "new.txt": "new", "more/added.txt": "added"}


def test_a_folder_comes_back_as_a_whole(made_elsewhere):
    run, parcel, files = made_elsewhere
    write_back(parcel, files)
    assert texts_in(run) == NEW


@pytest.mark.parametrize("n_written", range(3))
def test_interrupted_on_the_way_it_is_the_old_folder(made_elsewhere, monkeypatch, n_written):
    run, parcel, files = made_elsewhere
    write_bytes, seen = type(run).write_bytes, []

    def until_interrupted(self, content):
        seen.append(self)
        if len(seen) > n_written:
            raise KeyboardInterrupt
        return write_bytes(self, content)

    monkeypatch.setattr(type(run), "write_bytes", until_interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_back(parcel, files)
    assert texts_in(run) == OLD
    assert not any(path.name.startswith(".") for path in run.parent.iterdir())


def test_what_was_changed_here_meanwhile_is_not_written_over(made_elsewhere):
    run, parcel, files = made_elsewhere
    (run / "kept.txt").write_text("chosen by the band")
    with pytest.raises(RunFolderError, match="was changed here while it was made elsewhere"):
        write_back(parcel, files)
    assert texts_in(run) == OLD | {"kept.txt": "chosen by the band"}


def test_a_folder_that_somebody_writes_is_not_written_over(made_elsewhere):
    run, parcel, files = made_elsewhere
    with whole_folder(run) as staging:
        (staging / "a.txt").write_text("a")
        with pytest.raises(RunFolderError, match="is being written by another Segue"):
            write_back(parcel, files)


def test_a_file_that_is_a_root_itself_comes_back_too(tmp_path):
    file = tmp_path / "a.json"
    file.write_text("old")
    parcel = packed((file,))
    write_back(parcel, {(0, ""): b"new"})
    assert file.read_text() == "new"
    write_back(parcel, {(0, ""): None})
    assert not file.exists()
