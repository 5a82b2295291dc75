"""Files of this Segue and of another, damaged ones and half heard ones."""

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from segue.catalogue import neighbours_of, open_store
from segue.catalogue.store import APPLICATION_ID, SCHEMA_VERSION, Listed
from segue.errors import InputError
from tests.plan.song_facts import end_facts, start_facts, unheard

EDGES = {
    "song": (start_facts("D major", 96.0), end_facts("D major", 96.0)),
    "talk": (unheard(start_facts("C major", 120.0)), unheard(end_facts("C major", 120.0))),
}


@pytest.fixture(name="made")
def _made(tmp_path):
    path = tmp_path / "made.sqlite"
    with open_store(path) as store:
        for name, edges in EDGES.items():
            store.list_song(Listed(path=f"/{name}.wav", title=name, stamp="", content=name))
            store.keep_heard(name, "listener", edges)
    return path


def change(path, sentence, *values):
    database = sqlite3.connect(path, isolation_level=None)
    database.execute(sentence, values)
    database.close()


def rows_of(path, table):
    database = sqlite3.connect(path)
    found = sorted(database.execute(f"SELECT * FROM {table}"), key=repr)
    database.close()
    return found


def test_a_song_that_waits_to_be_heard_is_told_so(made):
    change(made, "DELETE FROM edges WHERE content = 'song'")
    with open_store(made) as store, pytest.raises(Exception, match="not heard yet: run 'segue"):
        neighbours_of(store, "song")


def test_a_damaged_file_is_a_sentence(made):
    content = bytearray(made.read_bytes())
    content[4096:] = b"\x5a" * (len(content) - 4096)
    made.write_bytes(content)
    with (
        pytest.raises(InputError, match="cannot be used as a catalogue"),
        open_store(made, must_exist=True) as store,
    ):
        neighbours_of(store, "song")


@pytest.mark.parametrize(("step", "word"), [(1, "newer"), (-1, "older")])
def test_a_file_of_another_schema_is_refused_and_left(made, step, word):
    change(made, f"PRAGMA user_version = {SCHEMA_VERSION + step}")
    with pytest.raises(InputError, match=f"from an? {word} Segue"), open_store(made):
        pass
    assert rows_of(made, "pragma_user_version") == [(SCHEMA_VERSION + step,)]
    assert rows_of(made, "pragma_application_id") == [(APPLICATION_ID,)]


def test_songs_of_another_listener_are_counted(made):
    with open_store(made) as store:
        assert store.n_heard_otherwise("listener") == 0
        assert store.n_heard_otherwise("another") == 2


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from segue.catalogue import open_store
from segue.errors import InputError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
try:
    with open_store(Path(sys.argv[1])):
        pass
except InputError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="files cannot be kept from growing there")
def test_a_full_disk_is_a_sentence_and_leaves_no_empty_file(tmp_path, made):
    root = Path(__file__).parents[2]
    for path in (tmp_path / "new.sqlite", made):
        before = made.read_bytes()
        words = [sys.executable, "-c", FULL_DISK, str(path)]
        done = subprocess.run(words, cwd=root, capture_output=True, text=True, check=True)
        assert done.stderr == ""
        if path != made:  # one that is there is opened: nothing was to be written
            assert "could not be written" in done.stdout
            assert "make room" in done.stdout
        assert [one.name for one in tmp_path.iterdir()] == ["made.sqlite"]
        assert made.read_bytes() == before
