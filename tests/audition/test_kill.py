"""The server dies while they vote: what was acknowledged is there, once."""

import asyncio
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest

from benchmarks._ballot_load import Server, lost_and_doubled, vote_together
from segue.audition.ballot import Ballot
from segue.errors import RunFolderError


def in_a_thread(coroutine):
    """Beside the loop that the browser's driver keeps in the main thread."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


def test_every_acknowledged_vote_outlives_the_server(run):
    server = Server(run)
    killer = threading.Timer(4.5, server.kill)
    killer.start()
    try:
        load = in_a_thread(vote_together(server.port, n_voters=20, seconds=4.0, ranks=[1, 2, 3]))
    finally:
        killer.join()
        server.process.stdout.close()
    assert load.faults == []
    assert len(load.acknowledged) >= 20
    assert lost_and_doubled({"": run}, load) == ([], [])


def test_lost_and_doubled_votes_would_be_seen(serve, run):
    from benchmarks._ballot_load import Load
    from tests.audition.wire import Client, a_vote

    port, _ = serve()
    for name, choice in (("Ann", 1), ("Ben", 2), ("Ben", 2)):
        assert Client(port).join(name).post("/vote", a_vote(choice)).status == 200
    load = Load(acknowledged={("", "Ann"): 2, ("", "Ben"): 2, ("", "Cy"): 3})
    lost, doubled = lost_and_doubled({"": run}, load)
    assert (lost, doubled) == ([("", "Ann"), ("", "Cy")], [("", "Ben")])


def test_ballot_waits_for_the_disk(serve):
    # synchronous = 2 is FULL (sqlite.org, PRAGMA synchronous, from memory)
    _, desk = serve()
    writer = desk.ballot._writer
    assert writer.execute("PRAGMA synchronous").fetchone() == (2,)
    assert writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_ballot_of_a_newer_segue_is_refused_and_one_without_a_version_is_read(tmp_path):
    def version(n=None):
        with closing(sqlite3.connect(tmp_path / "ballot.sqlite", isolation_level=None)) as file:
            if n is not None:
                file.execute(f"PRAGMA user_version = {n}")
            return file.execute("PRAGMA user_version").fetchone()[0]

    Ballot(tmp_path, settings="", token="a").close()
    assert version() == 1
    version(0)
    Ballot(tmp_path, settings="", token="b").close()
    version(2)
    with pytest.raises(RunFolderError, match="newer Segue"):
        Ballot(tmp_path, settings="", token="c")
    assert version() == 2


def test_job_that_fails_keeps_nothing_of_its_batch(serve):
    _, desk = serve()

    def broken():
        desk.ballot.add_listener("cookie", name="A", seed=1, is_host=False)
        raise RuntimeError("the disk is full")

    with pytest.raises(RuntimeError, match="disk is full"), desk.ballot.transaction():
        broken()
    assert desk.ballot.listener_of("cookie") is None
