"""The file of a catalogue: SQLite, with a rollback journal.

A write-ahead log would leave two more files beside the catalogue, and does not work
on network folders; hearing a song takes a hundred times as long as a commit, so its
speed would buy nothing. Each song is one transaction: whenever it stops, what is
there is whole.

A path is kept as text; one that is no text, as its bytes (a BLOB).

`songs` says what is where; `heard` has one row a content, `edges` two. The columns of
`edges` are what songs are compared by, NULL where no key or no pulse was heard; `facts`
is everything. `follows` is what `write_all_pairs` found, `could_follow` the same by title.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pydantic import TypeAdapter

from segue.analysis.facts import EdgeFacts
from segue.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


SCHEMA_VERSION: Final = 2  # of the catalogue file; rises when an older reader would go wrong
APPLICATION_ID: Final = 0x53656775
"""'Segu' in ASCII, in the header of the file."""
_FACTS: Final = TypeAdapter(EdgeFacts)
_TABLES: Final = (
    """
    CREATE TABLE IF NOT EXISTS songs (
        path TEXT PRIMARY KEY, title TEXT NOT NULL, stamp TEXT NOT NULL, content TEXT NOT NULL
    ) WITHOUT ROWID
    """,
    "CREATE INDEX IF NOT EXISTS songs_content ON songs (content)",
    """
    CREATE TABLE IF NOT EXISTS heard (
        content TEXT PRIMARY KEY, listener TEXT NOT NULL, problem TEXT
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE IF NOT EXISTS edges (
        content TEXT NOT NULL, edge TEXT NOT NULL, tonic INTEGER, mode TEXT, tempo_bpm REAL,
        loudness_lufs REAL NOT NULL, kind TEXT NOT NULL, facts TEXT NOT NULL,
        PRIMARY KEY (content, edge), CHECK ((tonic IS NULL) = (mode IS NULL))
    )
    """,
    """
    CREATE TABLE IF NOT EXISTS follows (
        content TEXT NOT NULL, rank INTEGER NOT NULL, next TEXT NOT NULL, cost REAL NOT NULL,
        PRIMARY KEY (content, rank)
    ) WITHOUT ROWID
    """,
)
_COULD_FOLLOW: Final = """
    CREATE VIEW IF NOT EXISTS could_follow AS
    SELECT old.title AS song, rank, new.title AS next, round(cost, 3) AS cost,
        old.path AS song_path, new.path AS next_path
    FROM follows
    JOIN songs AS old USING (content)
    JOIN (SELECT content, min(path) AS path, title FROM songs GROUP BY content) AS new
        ON new.content = follows.next
    ORDER BY old.path, rank
    """
"""What could follow what, by title; a catalogue of an older Segue gets it, too."""


def _prepare(path: Path, database: sqlite3.Connection, *, must_exist: bool) -> None:
    """Make sure that a database is a catalogue of this schema: one that is new, or of this version.

    Raises `InputError` if it is of something else or of another Segue, or empty and must not be.
    """
    database.execute("PRAGMA synchronous = NORMAL")
    n_tables = _checked(path, database)
    if must_exist and not n_tables:  # an empty file is a database, too
        raise InputError(path, "is no catalogue; make one with 'segue catalogue FOLDER'.")
    if n_tables:
        return
    with transaction(database):
        _checked(path, database)  # again, now that nobody else can write
        for table in (*_TABLES, _COULD_FOLLOW):
            database.execute(table)
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _edge_row(content: str, facts: EdgeFacts) -> tuple[str | float | None, ...]:
    """An edge as a row of `edges`: its key and tempo only where they were heard."""
    join = facts.ending or facts.opening
    key = facts.key.known_key
    return (
        content,
        facts.edge,
        None if key is None else key.tonic,
        None if key is None else key.mode,
        facts.pulse.known_bpm,
        facts.level.loudness_lufs,
        "" if join is None else join.kind,
        _FACTS.dump_json(replace(facts, file="", title="")).decode(),
    )


@contextmanager
def transaction(database: sqlite3.Connection) -> Iterator[None]:
    """All that is done inside, or nothing of it."""
    database.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        database.execute("ROLLBACK")
        raise
    database.execute("COMMIT")


def _checked(path: Path, database: sqlite3.Connection) -> int:
    """How many tables there are in what may be opened."""
    n_tables = _number(database, "SELECT count(*) FROM sqlite_schema")
    if n_tables and _number(database, "PRAGMA application_id") != APPLICATION_ID:
        raise InputError(path, "is a database of something else; name another file.")
    found = _number(database, "PRAGMA user_version")
    if found > SCHEMA_VERSION:
        raise InputError(path, f"is from a newer Segue (schema {found}): update, or start anew.")
    if n_tables and found < SCHEMA_VERSION:
        raise InputError(path, f"is from an older Segue (schema {found}): start anew.")
    return n_tables


def _number(database: sqlite3.Connection, question: str, *values: str) -> int:
    (number,) = database.execute(question, values).fetchone()
    return int(number)


_PATIENCE_S: Final = 4.0
"""How long another writer is waited for, before anything was done."""
_PATIENCE_UNDER_WAY_S: Final = 60.0
"""The same for who has begun, and would lose the rest of the work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A song as the catalogue has it."""

    path: str
    title: str
    stamp: str
    content: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Store:
    """An open catalogue.

    Parameters
    ----------
    database : sqlite3.Connection
        In autocommit mode; `with` makes a transaction.
    """

    database: sqlite3.Connection

    def listed(self, path: str) -> Listed | None:
        """What is known of a path."""
        rows = self.database.execute(
            "SELECT path, title, stamp, content FROM songs WHERE path = ?", (_kept(path),)
        )
        return next((_listed(row) for row in rows), None)

    def all_listed(self) -> Iterator[Listed]:
        """All songs by path."""
        rows = self.database.execute("SELECT path, title, stamp, content FROM songs ORDER BY path")
        return (_listed(row) for row in rows)

    def is_heard(self, content: str, listener: str) -> bool:
        """Whether a content was heard, or found to be broken, by this listener."""
        rows = self.database.execute(
            "SELECT 1 FROM heard WHERE content = ? AND listener = ?", (content, listener)
        )
        return next(rows, None) is not None

    def n_listed(self) -> int:
        """How many songs there are, copies counted."""
        return _number(self.database, "SELECT count(*) FROM songs")

    def begin(self) -> None:
        """Make sure that nobody else is writing now, and wait longer from here on."""
        with transaction(self.database):
            pass
        self.database.execute(f"PRAGMA busy_timeout = {_PATIENCE_UNDER_WAY_S * 1000:.0f}")

    def list_song(self, song: Listed) -> None:
        """Say what is at a path now."""
        known = self.listed(song.path)
        with transaction(self.database):
            if known is None or known.content != song.content:
                self._drop_follows()
            self.database.execute(
                "INSERT OR REPLACE INTO songs (path, title, stamp, content) VALUES (?, ?, ?, ?)",
                (_kept(song.path), song.title, song.stamp, song.content),
            )

    def forget(self, path: str) -> None:
        """Drop a path; what its content sounds like is kept, as it may come back."""
        with transaction(self.database):
            found = self.database.execute("DELETE FROM songs WHERE path = ?", (_kept(path),))
            if found.rowcount:
                self._drop_follows()

    def keep_heard(self, content: str, listener: str, edges: tuple[EdgeFacts, ...]) -> None:
        """Keep the facts of both edges of a content."""
        with transaction(self.database):
            self._keep(content, listener, None)
            rows = [_edge_row(content, facts) for facts in edges]
            self.database.executemany("INSERT INTO edges VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)

    def keep_problem(self, content: str, listener: str, problem: str) -> None:
        """Keep the sentence that says why a content cannot be heard."""
        with transaction(self.database):
            self._keep(content, listener, problem)

    def problem(self, content: str) -> str | None:
        """The sentence that says why a content cannot be heard, if it was found out."""
        rows = self.database.execute("SELECT problem FROM heard WHERE content = ?", (content,))
        return next((str(sentence) for (sentence,) in rows if sentence is not None), None)

    def problems(self) -> Iterator[tuple[str, str]]:
        """Path and sentence of every song that cannot be heard."""
        rows = self.database.execute(
            "SELECT path, problem FROM songs JOIN heard USING (content) "
            "WHERE problem IS NOT NULL ORDER BY path"
        )
        return ((os.fsdecode(path), problem) for path, problem in rows)

    def n_heard_otherwise(self, listener: str) -> int:
        """How many songs were heard by a listener whose name begins otherwise."""
        return _number(
            self.database,
            "SELECT count(*) FROM songs JOIN heard USING (content) "
            "WHERE problem IS NULL AND substr(listener, 1, length(?)) != ?",
            listener,
            listener,
        )

    def lacking(self) -> Iterator[tuple[str, bool, bool]]:
        """Path of every song that lacks a key or a tempo at an edge, and which of the two."""
        rows = self.database.execute(
            "SELECT path, max(tonic IS NULL), max(tempo_bpm IS NULL) "
            "FROM songs JOIN edges USING (content) "
            "WHERE tonic IS NULL OR tempo_bpm IS NULL GROUP BY path ORDER BY path"
        )
        return ((os.fsdecode(path), bool(key), bool(tempo)) for path, key, tempo in rows)

    def keep_follows(self, rows: Iterator[tuple[str, int, str, float]]) -> None:
        """Put a new table of what may follow what in place of the old one."""
        with transaction(self.database):
            self.database.execute("DELETE FROM follows")
            self.database.execute(_COULD_FOLLOW)
            self.database.executemany("INSERT INTO follows VALUES (?, ?, ?, ?)", rows)

    def _drop_follows(self) -> None:
        """What was found among other songs is the best of these no more."""
        self.database.execute("DELETE FROM follows")

    def _keep(self, content: str, listener: str, problem: str | None) -> None:
        self._drop_follows()
        self.database.execute("DELETE FROM edges WHERE content = ?", (content,))
        self.database.execute(
            "INSERT OR REPLACE INTO heard VALUES (?, ?, ?)", (content, listener, problem)
        )


@contextmanager
def open_store(path: Path, *, must_exist: bool = False) -> Iterator[Store]:
    """The catalogue in a file, made if need be.

    Parameters
    ----------
    must_exist : bool
        Whether a missing file is an error.

    Raises
    ------
    InputError
        If the file is no catalogue, cannot be used, or somebody else is writing it.
    """
    is_new = not path.exists()
    if must_exist and not path.is_file():
        raise InputError(path, "is no catalogue; make one with 'segue catalogue FOLDER'.")
    try:
        database = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
        try:
            _prepare(path, database, must_exist=must_exist)
            yield Store(database=database)
        finally:
            database.close()
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
            raise InputError(path, "another run is writing it: wait until it is done.") from error
        if is_new and _is_empty(path):  # nothing could be written into it: a full disk
            path.unlink(missing_ok=True)
            words = f"could not be written ({error}): make room, or name another file."
            raise InputError(path, words) from error
        raise InputError(
            path, f"cannot be used as a catalogue ({error}); name another file."
        ) from error


def _is_empty(path: Path) -> bool:
    try:
        return path.stat().st_size == 0
    except OSError:
        return False


def _kept(path: str) -> str | bytes:
    """A path as SQLite can hold it."""
    try:
        path.encode()
    except UnicodeEncodeError:
        return os.fsencode(path)
    return path


def _listed(row: tuple[str | bytes, str, str, str]) -> Listed:
    path, title, stamp, content = row
    return Listed(path=os.fsdecode(path), title=title, stamp=stamp, content=content)
