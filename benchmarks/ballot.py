"""Two hundred voters at once on a served vote; the server is killed while they vote.

Run: ``python -m benchmarks.ballot [--run DIR] [--joins 1] [--voters 200] [--seconds 10]``

All voters press at the same moment, then again every 0.5 to 1.5 s, each from an address of its own
(so that the limits of a client hold as they are) and each with a stream of news open. With one run
every vote is a new listener's; with more joins the run is copied into an evening of as many, and
everybody votes on each before the next listener comes. Then the same again with SIGKILL in the
middle. Exit 1 if the 99th percentile of a vote reaches 150 ms, a vote was refused, or an
acknowledged vote is lost or counted twice.
"""

from __future__ import annotations

import argparse
import asyncio
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from benchmarks._ballot_load import Load, Server, lost_and_doubled, vote_together
from segue.runfolder import read_document
from segue.setlist.evening import Breaks, Evening, EveningJoin, EveningSong
from segue.setlist.set_document import SetDocument, write_set

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_P99_MS = 150.0


def main() -> int:
    """Print the table; 1 if something was missed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--run", type=Path, help="a run folder; the demo's unless given")
    parser.add_argument("--joins", type=int, default=1, help="segues of an evening; 1 for one run")
    parser.add_argument("--voters", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=10.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work) / "run"
        if asked.run is None:
            words = [sys.executable, "-m", "segue", "demo", "--out", str(folder), "--quiet"]
            subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
        else:
            shutil.copytree(asked.run, folder, ignore=shutil.ignore_patterns("ballot.sqlite*"))
        served, folders = (folder, {"": folder})
        if asked.joins > 1:
            served, folders = _evening_of(folder, Path(work) / "evening", asked.joins)
        good = _steady(served, folders, asked.voters, asked.seconds)
        return 0 if _killed(served, folders, asked.voters, asked.seconds) and good else 1


def _evening_of(run: Path, evening: Path, n: int) -> tuple[Path, dict[str, Path]]:
    """An evening of one run over and over, and its run folders by where their votes are."""
    evening.mkdir()
    songs = tuple(
        EveningSong(number=k, title=f"Song {k}", path=run, start=None, end=None, length_s=200.0)
        for k in range(1, n + 2)
    )
    joins = tuple(
        EveningJoin(number=k, is_segue=True, key_distance=None, tempo_ratio=None, folder=f"{k:02d}")
        for k in range(1, n + 1)
    )
    for join in joins:
        shutil.copytree(run, evening / join.folder)
    document = SetDocument(
        schema_version=1,
        segue_version="0",
        evening=Evening(title="An evening", songs=songs, joins=joins),
        breaks=tuple(Breaks() for _ in joins),
    )
    write_set(evening, document)
    return evening, {f"/{join.number}": evening / join.folder for join in joins}


def _steady(served: Path, folders: Mapping[str, Path], n_voters: int, seconds: float) -> bool:
    server = Server(served)
    load = asyncio.run(_load(server, folders, n_voters, seconds))
    server.process.terminate()
    server.process.wait()
    print(f"{n_voters} voters at once for {seconds:g} s, {load.n_events} messages of results")
    print(f"{'':24}{'n':>7}{'median ms':>11}{'p99 ms':>9}{'longest':>9}")
    for words, took_s in (
        ("joins", load.joins_s),
        ("votes, all at once", load.first_votes_s),
        ("votes after that", load.votes_s),
    ):
        _row(words, took_s)
    p99_ms = _row("all votes", load.first_votes_s + load.votes_s)
    good = _told(folders, load) and p99_ms < MOST_P99_MS
    print(f"p99 below {MOST_P99_MS:g} ms: {'yes' if p99_ms < MOST_P99_MS else 'NO'}")
    return good


def _killed(served: Path, folders: Mapping[str, Path], n_voters: int, seconds: float) -> bool:
    for file in served.rglob("ballot.sqlite*"):
        file.unlink()
    server = Server(served)
    threading.Timer(3.0 + seconds / 2, server.kill).start()
    load = asyncio.run(_load(server, folders, n_voters, seconds))
    print(f"killed after {seconds / 2:g} s")
    return _told(folders, load)


async def _load(server: Server, folders: Mapping[str, Path], n_voters: int, seconds: float) -> Load:
    first = next(iter(folders.values()))
    ranks = [record.rank for record in read_document(first).candidates]
    return await vote_together(
        server.port, n_voters=n_voters, seconds=seconds, ranks=ranks, bases=tuple(folders)
    )


def _told(folders: Mapping[str, Path], load: Load) -> bool:
    lost, doubled = lost_and_doubled(folders, load)
    print(
        f"acknowledged {len(load.acknowledged)}, lost {len(lost)}, counted twice {len(doubled)}, "
        f"faults {len(load.faults)} {load.faults[:3]}"
    )
    return bool(load.acknowledged) and not lost and not doubled and not load.faults


def _row(words: str, took_s: list[float]) -> float:
    took_ms = 1e3 * np.array(took_s)
    p99_ms = float(np.percentile(took_ms, 99))
    print(f"{words:24}{len(took_ms):7d}{np.median(took_ms):11.1f}{p99_ms:9.1f}{took_ms.max():9.1f}")
    return p99_ms


if __name__ == "__main__":
    sys.exit(main())
