"""An evening was stopped, and a worker of a cluster still writes one of its segues."""

import threading
from pathlib import Path
from types import SimpleNamespace

import pytest

from segue.errors import BusyFolderError
from segue.files.sole_writer import sole_writer
from segue.job.request import Request
from segue.runfolder.run_folder import whole_folder
from segue.setlist import joins

HELD_S = 1.5  # longer than a writer waits for one who sweeps


@pytest.fixture(name="request_of")
def _request_of(tmp_path, monkeypatch):
    """A join that only writes its folder."""

    def make_segues(request, **_):
        with whole_folder(request.out) as folder:
            (folder / "segue.json").write_text("{}")
        return SimpleNamespace(choice=None)

    monkeypatch.setattr(joins, "make_segues", make_segues)
    monkeypatch.setattr(joins, "earlier_run", lambda _: None)
    monkeypatch.setattr(joins, "MadeJoin", SimpleNamespace)
    return Request(outgoing=Path("a"), incoming=Path("b"), out=tmp_path / "01 a to b")


def held(folder, seconds):
    """A thread that writes a folder for a while."""
    begun = threading.Event()

    def write():
        with sole_writer(folder):
            begun.set()
            threading.Event().wait(seconds)

    thread = threading.Thread(target=write)
    thread.start()
    assert begun.wait(60)
    return thread


def test_it_is_let_finish_and_then_the_segue_is_made(request_of):
    other = held(request_of.out, HELD_S)
    joins.make_join(request_of)
    other.join()
    assert (request_of.out / "segue.json").is_file()


def test_who_never_ends_is_told(request_of, monkeypatch):
    monkeypatch.setattr(joins, "_PATIENCE_S", 0.0)
    other = held(request_of.out, HELD_S)
    with pytest.raises(BusyFolderError, match="is being written by another Segue: wait"):
        joins.make_join(request_of)
    other.join()
    assert not request_of.out.exists()
