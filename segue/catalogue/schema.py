"""What the file of a catalogue holds, and how one of an older Segue becomes one of this.

`songs` says what is where; `heard` has one row a content, `edges` two. The columns of
`edges` are what songs are compared by, NULL where no key or no pulse was heard; `facts`
is everything. `follows` is what `write_all_pairs` found, `followers` the same by title.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from pydantic import TypeAdapter, ValidationError

from segue.analysis.facts import EdgeFacts
from segue.errors import InputError

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path

SCHEMA_VERSION: Final = 2
"""1 had a key and a tempo for every edge, guessed where none was heard."""
APPLICATION_ID: Final = 0x53656775
"""'Segu' in ASCII, in the header of the file."""
INSERT_EDGE: Final = "INSERT INTO edges VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
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
    """
    CREATE VIEW IF NOT EXISTS followers AS
    SELECT old.title AS song, rank, new.title AS next, round(cost, 3) AS cost,
        old.path AS song_path, new.path AS next_path
    FROM follows
    JOIN songs AS old USING (content)
    JOIN (SELECT content, min(path) AS path, title FROM songs GROUP BY content) AS new
        ON new.content = follows.next
    ORDER BY old.path, rank
    """,
)


def prepare(path: Path, database: sqlite3.Connection, *, must_exist: bool) -> None:
    """Make sure that a database is a catalogue of this schema: a new, a newer or an older file.

    Parameters
    ----------
    path : Path
        For the sentences.
    database : sqlite3.Connection
        In autocommit mode.
    must_exist : bool
        Whether an empty file is an error.

    Raises
    ------
    InputError
        If it is a database of something else, or of a newer Segue.
    """
    database.execute("PRAGMA synchronous = NORMAL")
    n_tables = _checked(path, database)
    if must_exist and not n_tables:  # an empty file is a database, too
        raise InputError(path, "is no catalogue; make one with 'segue catalogue FOLDER'.")
    if n_tables and _number(database, "PRAGMA user_version") == SCHEMA_VERSION:
        return
    with transaction(database):
        if _checked(path, database):  # again, now that nobody else can write
            _upgrade(database)
        for table in _TABLES:
            database.execute(table)
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def edge_row(content: str, facts: EdgeFacts) -> tuple[str | float | None, ...]:
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
    return n_tables


def _upgrade(database: sqlite3.Connection) -> None:
    """Edges of an older file in the columns of this; those that make no sense are heard anew."""
    if _number(database, "PRAGMA user_version") == SCHEMA_VERSION:
        return  # somebody else was faster
    names = {name for (name,) in database.execute("SELECT name FROM sqlite_schema")}
    if "edges" not in names:
        return
    database.execute("ALTER TABLE edges RENAME TO older_edges")
    for table in _TABLES:
        database.execute(table)
    unclear: set[str] = set()
    for content, text in database.execute("SELECT content, facts FROM older_edges"):
        try:
            facts = _FACTS.validate_json(text, strict=True)
        except ValidationError:
            unclear.add(content)
        else:
            database.execute(INSERT_EDGE, edge_row(content, facts))
    for content in unclear:
        database.execute("DELETE FROM edges WHERE content = ?", (content,))
        database.execute("DELETE FROM heard WHERE content = ?", (content,))
    database.execute("DROP TABLE older_edges")
    database.execute("DELETE FROM follows")  # found among guesses


def _number(database: sqlite3.Connection, question: str) -> int:
    (number,) = database.execute(question).fetchone()
    return int(number)
