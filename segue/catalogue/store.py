"""The file of a catalogue: SQLite, with a rollback journal.

A write-ahead log would leave two more files beside the catalogue, and does not work
on network folders; hearing a song takes a hundred times as long as a commit, so its
speed would buy nothing. Each song is one transaction: whenever it stops, what is
there is whole.

`songs` says what is where; `heard` has one row a content, `edges` two. The columns of
`edges` are what songs are compared by, `facts` is everything.
"""

from __future__ import annotations

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

SCHEMA_VERSION: Final = 1
APPLICATION_ID: Final = 0x53656775
"""'Segu' in ASCII, in the header of the file."""
_PATIENCE_S: Final = 60.0
_FACTS: Final = TypeAdapter(EdgeFacts)
_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS songs (
    path TEXT PRIMARY KEY, title TEXT NOT NULL, stamp TEXT NOT NULL, content TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS songs_content ON songs (content);
CREATE TABLE IF NOT EXISTS heard (
    content TEXT PRIMARY KEY, listener TEXT NOT NULL, problem TEXT
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS edges (
    content TEXT NOT NULL, edge TEXT NOT NULL, tonic INTEGER NOT NULL, mode TEXT NOT NULL,
    tempo_bpm REAL NOT NULL, tempo_confidence REAL NOT NULL, loudness_lufs REAL NOT NULL,
    kind TEXT NOT NULL, facts TEXT NOT NULL, PRIMARY KEY (content, edge)
);
CREATE TABLE IF NOT EXISTS follows (
    content TEXT NOT NULL, rank INTEGER NOT NULL, next TEXT NOT NULL, cost REAL NOT NULL,
    PRIMARY KEY (content, rank)
) WITHOUT ROWID;
"""


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
            "SELECT path, title, stamp, content FROM songs WHERE path = ?", (path,)
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

    def list_song(self, song: Listed) -> None:
        """Say what is at a path now."""
        with self._transaction():
            self.database.execute(
                "INSERT OR REPLACE INTO songs (path, title, stamp, content) VALUES (?, ?, ?, ?)",
                (song.path, song.title, song.stamp, song.content),
            )

    def forget(self, path: str) -> None:
        """Drop a path; what its content sounds like is kept, as it may come back."""
        with self._transaction():
            self.database.execute("DELETE FROM songs WHERE path = ?", (path,))

    def keep_heard(self, content: str, listener: str, edges: tuple[EdgeFacts, ...]) -> None:
        """Keep the facts of both edges of a content."""
        with self._transaction():
            self._keep(content, listener, None)
            self.database.executemany(
                "INSERT INTO edges VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [_edge_row(content, facts) for facts in edges],
            )

    def keep_problem(self, content: str, listener: str, problem: str) -> None:
        """Keep the sentence that says why a content cannot be heard."""
        with self._transaction():
            self._keep(content, listener, problem)

    def problems(self) -> Iterator[tuple[str, str]]:
        """Path and sentence of every song that cannot be heard."""
        return iter(
            self.database.execute(
                "SELECT path, problem FROM songs JOIN heard USING (content) "
                "WHERE problem IS NOT NULL ORDER BY path"
            )
        )

    def facts(self, song: Listed, edge: str) -> EdgeFacts | None:
        """All facts of one edge of a song; None if it was not heard."""
        rows = self.database.execute(
            "SELECT facts FROM edges WHERE content = ? AND edge = ?", (song.content, edge)
        )
        for (text,) in rows:
            facts = _FACTS.validate_json(text, strict=True)
            return replace(facts, file=song.path, title=song.title)
        return None

    def keep_follows(self, rows: Iterator[tuple[str, int, str, float]]) -> None:
        """Put a new table of what may follow what in place of the old one."""
        with self._transaction():
            self.database.execute("DELETE FROM follows")
            self.database.executemany("INSERT INTO follows VALUES (?, ?, ?, ?)", rows)

    def _keep(self, content: str, listener: str, problem: str | None) -> None:
        self.database.execute("DELETE FROM edges WHERE content = ?", (content,))
        self.database.execute(
            "INSERT OR REPLACE INTO heard VALUES (?, ?, ?)", (content, listener, problem)
        )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self.database.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self.database.execute("ROLLBACK")
            raise
        self.database.execute("COMMIT")


@contextmanager
def open_store(path: Path, *, must_exist: bool = False) -> Iterator[Store]:
    """The catalogue in a file, made if need be.

    Parameters
    ----------
    path : Path
    must_exist : bool
        Whether a missing file is an error.

    Yields
    ------
    Store

    Raises
    ------
    InputError
        If the file is no catalogue, or cannot be used.
    """
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
        raise InputError(
            path, f"cannot be used as a catalogue ({error}); name another file."
        ) from error


def _prepare(path: Path, database: sqlite3.Connection, *, must_exist: bool) -> None:
    database.execute("PRAGMA synchronous = NORMAL")
    (application,) = database.execute("PRAGMA application_id").fetchone()
    (found,) = database.execute("PRAGMA user_version").fetchone()
    (n_tables,) = database.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if must_exist and not n_tables:  # an empty file is a database, too
        raise InputError(path, "is no catalogue; make one with 'segue catalogue FOLDER'.")
    if n_tables and application != APPLICATION_ID:
        raise InputError(path, "is a database of something else; name another file.")
    if found > SCHEMA_VERSION:
        raise InputError(path, f"is from a newer Segue (schema {found}): update, or start anew.")
    if not n_tables or found < SCHEMA_VERSION:
        database.executescript(
            f"BEGIN IMMEDIATE; {_SCHEMA} PRAGMA application_id = {APPLICATION_ID}; "
            f"PRAGMA user_version = {SCHEMA_VERSION}; COMMIT;"
        )


def _listed(row: tuple[str, str, str, str]) -> Listed:
    path, title, stamp, content = row
    return Listed(path=path, title=title, stamp=stamp, content=content)


def _edge_row(content: str, facts: EdgeFacts) -> tuple[str | float, ...]:
    join = facts.ending or facts.opening
    return (
        content,
        facts.edge,
        facts.key.key.tonic,
        facts.key.key.mode,
        facts.pulse.tempo_bpm,
        facts.pulse.confidence,
        facts.level.loudness_lufs,
        "" if join is None else join.kind,
        _FACTS.dump_json(replace(facts, file="", title="")).decode(),
    )
