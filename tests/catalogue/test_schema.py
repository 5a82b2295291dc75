"""Files of an older Segue, as they are opened by this one."""

import json
import sqlite3

import pytest

from segue.catalogue import Build, build_catalogue, neighbours_of, open_store
from segue.catalogue.store import APPLICATION_ID, SCHEMA_VERSION, Listed
from segue.errors import InputError
from tests.catalogue.tiny_songs import OneByOne, write_song
from tests.plan.song_facts import end_facts, start_facts, unheard

OLDER = """
CREATE TABLE edges (
    content TEXT NOT NULL, edge TEXT NOT NULL, tonic INTEGER NOT NULL, mode TEXT NOT NULL,
    tempo_bpm REAL NOT NULL, tempo_confidence REAL NOT NULL, loudness_lufs REAL NOT NULL,
    kind TEXT NOT NULL, facts TEXT NOT NULL, PRIMARY KEY (content, edge)
)
"""
"""The table of schema 1, which had a guess where nothing was heard."""
EDGES = {
    "song": (start_facts("D major", 96.0), end_facts("D major", 96.0)),
    "talk": (unheard(start_facts("C major", 120.0)), unheard(end_facts("C major", 120.0))),
}


def make_older(path):
    """Turn a catalogue into one of schema 1, every edge with a key and a tempo."""
    database = sqlite3.connect(path, isolation_level=None)
    rows = database.execute(
        "SELECT content, edge, loudness_lufs, kind, facts FROM edges"
    ).fetchall()
    database.execute("DROP VIEW followers")
    database.execute("DROP TABLE edges")
    database.execute(OLDER)
    for content, edge, loudness_lufs, kind, facts in rows:
        key, pulse = json.loads(facts)["key"]["key"], json.loads(facts)["pulse"]
        row = (content, edge, key["tonic"], key["mode"], pulse["tempo_bpm"], pulse["confidence"])
        database.execute(
            "INSERT INTO edges VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*row, loudness_lufs, kind, facts),
        )
    database.execute("INSERT INTO follows VALUES ('song', 1, 'talk', 0.0)")
    database.execute("PRAGMA user_version = 1")
    database.close()


@pytest.fixture(name="older")
def _older(tmp_path):
    path = tmp_path / "older.sqlite"
    with open_store(path) as store:
        for name, edges in EDGES.items():
            store.list_song(Listed(path=f"/{name}.wav", title=name, stamp="", content=name))
            store.keep_heard(name, "listener", edges)
    make_older(path)
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


def test_an_older_file_becomes_what_this_segue_would_have_written(older, tmp_path):
    new = tmp_path / "new.sqlite"
    with open_store(new) as store:
        for name, edges in EDGES.items():
            store.list_song(Listed(path=f"/{name}.wav", title=name, stamp="", content=name))
            store.keep_heard(name, "listener", edges)
    with open_store(older, must_exist=True) as store:
        assert neighbours_of(store, "talk").side.key is None
    for table in ("songs", "heard", "edges", "sqlite_schema WHERE name NOT LIKE 'sqlite_auto%'"):
        of_table = [
            [row[1:3] + row[4:] if "schema" in table else row for row in rows_of(path, table)]
            for path in (older, new)
        ]
        assert of_table[0] == of_table[1], table
    assert rows_of(older, "follows") == []  # they were found among guesses


def test_an_older_file_is_brought_up_once(older):
    with open_store(older) as store:
        store.keep_follows(iter([("song", 1, "talk", 0.5)]))
    with open_store(older) as store:
        assert store.database.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
        assert store.database.execute("SELECT count(*) FROM follows").fetchone() == (1,)


@pytest.mark.parametrize("facts", ["{}", "not JSON", '{"key": {"tonic": 3}}'])
def test_facts_that_make_no_sense_any_more_are_heard_anew(tmp_path, facts):
    path, songs = tmp_path / "older.sqlite", tmp_path / "songs"
    for n in range(2):
        write_song(songs / f"Song {n}.wav", n)
    asked = Build(folders=(songs,))
    with open_store(path) as store:
        build_catalogue(store, asked, OneByOne(), tell=lambda words: None)
        (content,) = store.database.execute("SELECT min(content) FROM heard").fetchone()
    make_older(path)
    change(path, "UPDATE edges SET facts = ? WHERE content = ? AND edge = 'end'", facts, content)
    with open_store(path) as store:
        report = build_catalogue(store, asked, OneByOne(), tell=lambda words: None)
        assert (report.n_heard, report.problems) == (1, ())
        assert store.database.execute("SELECT count(*) FROM edges").fetchone() == (4,)


def test_a_song_that_waits_to_be_heard_anew_is_told_so(older):
    change(older, "UPDATE edges SET facts = '{}' WHERE content = 'song'")
    with open_store(older) as store, pytest.raises(Exception, match="not heard yet: run 'segue"):
        neighbours_of(store, "song")


def test_an_upgrade_that_is_cut_short_leaves_the_older_file(older, monkeypatch):
    before = rows_of(older, "edges")

    def cut(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("segue.catalogue.store.edge_row", cut)
    with pytest.raises(KeyboardInterrupt), open_store(older):
        pass
    assert rows_of(older, "edges") == before
    assert rows_of(older, "pragma_user_version") == [(1,)]


@pytest.mark.parametrize("version", [1, SCHEMA_VERSION])
def test_a_damaged_file_is_a_sentence(older, version):
    change(older, f"PRAGMA user_version = {version}")
    content = bytearray(older.read_bytes())
    content[4096:] = b"\x5a" * (len(content) - 4096)
    older.write_bytes(content)
    with (
        pytest.raises(InputError, match="cannot be used as a catalogue"),
        open_store(older, must_exist=True) as store,
    ):
        neighbours_of(store, "song")


def test_a_newer_file_is_refused(older):
    change(older, f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    with pytest.raises(InputError, match="from a newer Segue"), open_store(older):
        pass
    assert rows_of(older, "pragma_application_id") == [(APPLICATION_ID,)]


def test_songs_of_another_listener_are_counted(older):
    with open_store(older) as store:
        assert store.n_heard_otherwise("listener") == 0
        assert store.n_heard_otherwise("another") == 2
