"""The ballot file: who listens and what they voted, safe on the disk before it is acknowledged.

SQLite in WAL mode with ``synchronous=FULL``: a committed vote survives the
death of the server and of the machine. A listener has one vote in a round
(the primary key), so the same vote sent twice counts once. Cookies are kept
as hashes only. One connection writes, in transactions that `Recorder` fills;
another reads and is never held up.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from segue.audition.votes import BallotRefusalError, Listener, Remark, Vote
from segue.errors import RunFolderError
from segue.runfolder import BALLOT_NAME

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

GONE, CONFLICT, UNAVAILABLE = 410, 409, 503  # status codes of HTTP (RFC 9110)
MOST_LISTENERS: Final = 20_000
"""In a round: a limit of the file's growth. Ours."""

_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS rounds (
  id INTEGER PRIMARY KEY, token TEXT NOT NULL, settings TEXT NOT NULL,
  opened_at TEXT NOT NULL DEFAULT CURRENT_TIMESTAMP, closed_at TEXT, choice INTEGER
) STRICT;
CREATE TABLE IF NOT EXISTS listeners (
  id INTEGER PRIMARY KEY, round INTEGER NOT NULL REFERENCES rounds, cookie TEXT NOT NULL UNIQUE,
  name TEXT NOT NULL, seed INTEGER NOT NULL, is_host INTEGER NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS votes (
  round INTEGER NOT NULL REFERENCES rounds, listener INTEGER NOT NULL REFERENCES listeners,
  choice INTEGER NOT NULL, confidence INTEGER NOT NULL, words TEXT NOT NULL, heard TEXT NOT NULL,
  cast_at TEXT NOT NULL DEFAULT CURRENT_TIMESTAMP, PRIMARY KEY (round, listener)
) STRICT;
CREATE TABLE IF NOT EXISTS secrets (
  round INTEGER PRIMARY KEY REFERENCES rounds, secret BLOB NOT NULL
) STRICT;
"""
_VERSION: Final = 1  # of this form; 0 in the files of a Segue that gave none
_BUSY_S: Final = 5.0  # seconds that a write waits for another one


class Ballot:
    """The ballot file of a run folder, with a round open.

    Parameters
    ----------
    settings : str
        What is voted on; an open round of the same settings goes on.
    token : str
        Name of the round, should one be opened.
    keeps_closed : bool
        Whether a closed round of the same settings stays as it is, and none is opened after it.

    Raises
    ------
    RunFolderError
        If the file cannot be opened or is something else.
    """

    def __init__(
        self, folder: Path, *, settings: str, token: str, keeps_closed: bool = False
    ) -> None:
        self.path = folder / BALLOT_NAME
        if self.path.is_symlink():
            raise RunFolderError(self.path, "is a link: votes are kept in the run folder itself.")
        try:
            self._writer = _connected(self.path)
            _check_version(self.path, self._writer)
            self._writer.executescript(_SCHEMA)
            self.round, self.token = self._opened(settings, token, keeps_closed=keeps_closed)
            self.secret = self._secret_of(self.round)
            self._reader = _connected(self.path)
        except sqlite3.Error as error:
            raise RunFolderError(
                self.path, f"cannot hold votes ({error}): move it away, or mend the folder."
            ) from error
        self._inode = self.path.stat().st_ino

    def close(self) -> None:
        """Let go of the file."""
        self._reader.close()
        self._writer.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside is on the disk afterwards, or nothing is.

        Raises
        ------
        BallotRefusalError
            If the file was taken away: what is written to it would be lost.
        """
        self._check_present()
        self._writer.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._writer.execute("COMMIT")
        except BaseException:
            if self._writer.in_transaction:
                self._writer.execute("ROLLBACK")
            raise
        self._check_present()

    def add_listener(self, cookie: str, *, name: str, seed: int, is_host: bool) -> Listener:
        """Let somebody in, once for a cookie; call inside a transaction."""
        known = _listener_of(self._writer, self.round, cookie)
        if known is not None:
            return known
        if _n_listeners(self._writer, self.round) >= MOST_LISTENERS:
            raise BallotRefusalError("Too many listeners joined this vote.", status=UNAVAILABLE)
        done = self._writer.execute(
            "INSERT INTO listeners (round, cookie, name, seed, is_host) VALUES (?, ?, ?, ?, ?)",
            (self.round, _hash(cookie), name, seed, int(is_host)),
        )
        return Listener(number=int(done.lastrowid or 0), name=name, seed=seed, is_host=is_host)

    def make_host(self, listener: Listener) -> None:
        """Let a listener close the vote; call inside a transaction."""
        self._writer.execute("UPDATE listeners SET is_host = 1 WHERE id = ?", (listener.number,))

    def cast(self, listener: Listener, vote: Vote) -> Vote:
        """Keep a vote; call inside a transaction.

        Raises
        ------
        BallotRefusalError
            If the round is closed, or the listener voted otherwise before.
        """
        earlier = _vote_of(self._writer, self.round, listener)
        if earlier == vote:
            return earlier
        if earlier is not None:
            raise BallotRefusalError(
                "You have voted already, and your first vote stands.", status=CONFLICT, kept=earlier
            )
        if _choice_of(self._writer, self.round) is not None:
            raise BallotRefusalError("The vote is closed.", status=GONE)
        said = (vote.choice, vote.confidence, vote.words, json.dumps(vote.heard))
        self._writer.execute(
            "INSERT INTO votes (round, listener, choice, confidence, words, heard) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (self.round, listener.number, *said),
        )
        return vote

    def close_round(self, choice: int) -> None:
        """Take no more votes; call inside a transaction."""
        self._writer.execute(
            "UPDATE rounds SET closed_at = CURRENT_TIMESTAMP, choice = ? WHERE id = ?",
            (choice, self.round),
        )

    def listener_of(self, cookie: str) -> Listener | None:
        """Who holds a cookie of this round."""
        return _listener_of(self._reader, self.round, cookie)

    @property
    def n_listeners(self) -> int:
        """How many have been let into this round."""
        return _n_listeners(self._reader, self.round)

    def vote_of(self, listener: Listener) -> Vote | None:
        """What a listener voted in this round."""
        return _vote_of(self._reader, self.round, listener)

    @property
    def choice(self) -> int | None:
        """What the closed round chose; None while it is open."""
        return _choice_of(self._reader, self.round)

    @property
    def tally(self) -> dict[int, int]:
        """How many votes of this round each rank has, where it has any."""
        return dict(
            self._reader.execute(
                "SELECT choice, count(*) FROM votes WHERE round = ? GROUP BY choice", (self.round,)
            ).fetchall()
        )

    def latest_words(self, n_most: int) -> tuple[Remark, ...]:
        """The free words of this round, the latest first."""
        rows = self._reader.execute(
            "SELECT name, choice, confidence, words FROM votes "
            "JOIN listeners ON listeners.id = votes.listener "
            "WHERE votes.round = ? AND words <> '' ORDER BY votes.rowid DESC LIMIT ?",
            (self.round, n_most),
        )
        return tuple(
            Remark(listener=row[0], choice=row[1], confidence=row[2], words=row[3]) for row in rows
        )

    def _opened(self, settings: str, token: str, *, keeps_closed: bool) -> tuple[int, str]:
        with self._writer_transaction():
            row = self._writer.execute(
                "SELECT id, token, settings, closed_at FROM rounds ORDER BY id DESC LIMIT 1"
            ).fetchone()
            if row is not None and row[2] == settings and (keeps_closed or row[3] is None):
                return row[0], row[1]
            done = self._writer.execute(
                "INSERT INTO rounds (token, settings) VALUES (?, ?)", (token, settings)
            )
            return int(done.lastrowid or 0), token

    def _secret_of(self, round_: int) -> bytes:
        """What numbers of options are drawn from; the same when the vote goes on later."""
        with self._writer_transaction():
            self._writer.execute(
                "INSERT OR IGNORE INTO secrets (round, secret) VALUES (?, ?)",
                (round_, secrets.token_bytes(32)),
            )
            row = self._writer.execute("SELECT secret FROM secrets WHERE round = ?", (round_,))
            return bytes(row.fetchone()[0])

    @contextmanager
    def _writer_transaction(self) -> Iterator[None]:
        self._writer.execute("BEGIN IMMEDIATE")
        yield
        self._writer.execute("COMMIT")

    def _check_present(self) -> None:
        try:
            is_ours = self.path.stat().st_ino == self._inode
        except OSError:
            is_ours = False
        if not is_ours:
            raise BallotRefusalError(
                "The run folder was moved or replaced: nothing can be kept; start the vote anew.",
                status=UNAVAILABLE,
            )


def _connected(path: Path) -> sqlite3.Connection:
    # Autocommit: transactions are begun by hand. One thread at a time, but not always the same.
    connection = sqlite3.connect(
        path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _check_version(path: Path, connection: sqlite3.Connection) -> None:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version > _VERSION:
        connection.close()
        raise RunFolderError(path, "was made by a newer Segue: update, or move it away.")
    connection.execute(f"PRAGMA user_version = {_VERSION}")


def _listener_of(connection: sqlite3.Connection, round_: int, cookie: str) -> Listener | None:
    row = connection.execute(
        "SELECT id, name, seed, is_host FROM listeners WHERE round = ? AND cookie = ?",
        (round_, _hash(cookie)),
    ).fetchone()
    if row is None:
        return None
    return Listener(number=row[0], name=row[1], seed=row[2], is_host=bool(row[3]))


def _n_listeners(connection: sqlite3.Connection, round_: int) -> int:
    row = connection.execute("SELECT count(*) FROM listeners WHERE round = ?", (round_,))
    return int(row.fetchone()[0])


def _choice_of(connection: sqlite3.Connection, round_: int) -> int | None:
    row = connection.execute("SELECT choice FROM rounds WHERE id = ?", (round_,)).fetchone()
    return None if row is None else row[0]


def _vote_of(connection: sqlite3.Connection, round_: int, listener: Listener) -> Vote | None:
    row = connection.execute(
        "SELECT choice, confidence, words, heard FROM votes WHERE round = ? AND listener = ?",
        (round_, listener.number),
    ).fetchone()
    return None if row is None else _vote(row)


def _vote(row: tuple[int, int, str, str]) -> Vote:
    choice, confidence, words, heard = row
    return Vote(choice=choice, confidence=confidence, words=words, heard=tuple(json.loads(heard)))


def _hash(cookie: str) -> str:
    return hashlib.sha256(cookie.encode("utf-8", "surrogateescape")).hexdigest()
