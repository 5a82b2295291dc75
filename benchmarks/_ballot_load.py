"""Voters for a served vote: an address, a stream of results and many votes each."""

from __future__ import annotations

import asyncio
import json
import random
import re
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

SERVED = re.compile(r"Listen and vote: http://127\.0\.0\.1:(\d+)/")


@dataclass
class Load:
    """What came back.

    Parameters
    ----------
    acknowledged : dict of (str, str) to int
        Choice by the vote ('' or such as '/3') and the name of the listener.
    joins_s, first_votes_s, votes_s : list of float
        How long answers took; the first votes come from everybody in the same moment.
    n_events : int
        Of all streams.
    faults : list of str
    """

    acknowledged: dict[tuple[str, str], int] = field(default_factory=dict)
    joins_s: list[float] = field(default_factory=list)
    first_votes_s: list[float] = field(default_factory=list)
    votes_s: list[float] = field(default_factory=list)
    n_events: int = 0
    faults: list[str] = field(default_factory=list)


class Server:
    """The installed command, serving a run folder or an evening's in a process of its own."""

    def __init__(self, folder: Path) -> None:
        words = [sys.executable, "-m", "segue", "audition", str(folder)]
        self.process = subprocess.Popen(
            [*words, "--serve", "--port", "0", "--no-open"], stdout=subprocess.PIPE, text=True
        )
        self.port = next(self._ports())

    def _ports(self) -> Iterator[int]:
        for line in self.process.stdout or ():
            if found := SERVED.match(line):
                yield int(found[1])
        raise RuntimeError("the server ended before it served")

    def kill(self) -> None:
        """As the power button does."""
        self.process.kill()
        self.process.wait()


class Voter:
    """One address with a connection for votes and one for results.

    Parameters
    ----------
    number : int
    port : int
    bases : sequence of str
        Where the addresses of each vote begin: '' for the only one.
    load : Load
    seed : int
    """

    def __init__(self, number: int, port: int, bases: Sequence[str], load: Load, seed: int) -> None:
        self.number, self.port, self.bases, self.load = number, port, bases, load
        self.random = random.Random(seed + number)
        self.writers: list[asyncio.StreamWriter] = []
        self.pipe: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def run(self, start: asyncio.Event, end_s: float, ranks: list[int]) -> None:
        """Join, then vote with everybody at once, then again and again as new listeners."""
        cookie = await self._join(0)
        stream = asyncio.create_task(self._follow(cookie))
        await start.wait()
        n = 0
        try:
            while time.monotonic() < end_s:
                if n:
                    await asyncio.sleep(self.random.uniform(0.5, 1.5))
                who, at = divmod(n, len(self.bases))
                if n and not at:
                    cookie = await self._join(who)
                await self._vote(cookie, who, self.bases[at], ranks)
                n += 1
        except (OSError, EOFError):
            pass  # the server was killed
        finally:
            stream.cancel()
            await asyncio.gather(stream, return_exceptions=True)
            for writer in self.writers:
                writer.close()
                with suppress(OSError):
                    await writer.wait_closed()

    async def _join(self, n: int) -> str:
        began_s = time.monotonic()
        status, head, _ = await self._post("/join", {"name": self._name(n)}, "")
        self.load.joins_s.append(time.monotonic() - began_s)
        found = re.search(r"set-cookie: ([^;\r]+)", head, re.IGNORECASE)
        if status != 200 or not found:
            self.load.faults.append(f"join was answered with {status}")
            raise EOFError
        return found[1]

    async def _vote(self, cookie: str, n: int, base: str, ranks: list[int]) -> None:
        choice = self.random.choice(ranks)
        vote = {"choice": choice, "confidence": 2, "heard": ranks, "words": f"vote {n}"}
        began_s = time.monotonic()
        status, _, _ = await self._post(f"{base}/vote", vote, cookie)
        took_s = time.monotonic() - began_s
        if status != 200:
            self.load.faults.append(f"vote was answered with {status}")
            return
        is_first = n == 0 and base == self.bases[0]
        self.load.acknowledged[base, self._name(n)] = choice
        (self.load.first_votes_s if is_first else self.load.votes_s).append(took_s)

    def _name(self, n: int) -> str:
        return f"voter {self.number} as {n}"

    async def _post(self, path: str, values: object, cookie: str) -> tuple[int, str, bytes]:
        body, host = json.dumps(values).encode(), f"127.0.0.1:{self.port}"
        head = (
            f"POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        if self.pipe is None:
            self.pipe = await self._connected()
        reader, writer = self.pipe
        writer.write(head.encode() + body)
        await writer.drain()
        answer = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        length = re.search(r"content-length: (\d+)", answer, re.IGNORECASE)
        rest = await reader.readexactly(int(length[1]) if length else 0)
        return int(answer.split(" ", 2)[1]), answer, rest

    async def _connected(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        # Linux lets every address of 127.0.0.0/8 be used: each voter has its own limits.
        own = (f"127.0.{1 + self.number // 250}.{1 + self.number % 250}", 0)
        local = own if sys.platform == "linux" else None
        pipe = await asyncio.open_connection("127.0.0.1", self.port, local_addr=local)
        self.writers.append(pipe[1])
        return pipe

    async def _follow(self, cookie: str) -> None:
        reader, writer = await self._connected()
        path = "/events" if self.bases == [""] else "/progress"
        head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nCookie: {cookie}\r\n\r\n"
        writer.write(head.encode())
        async for line in reader:
            self.load.n_events += line.startswith(b"event: ")


async def vote_together(
    port: int,
    *,
    n_voters: int,
    seconds: float,
    ranks: list[int],
    bases: Sequence[str] = ("",),
    seed: int = 0,
) -> Load:
    """Let many vote at once for a while, or until the server is gone."""
    load, start = Load(), asyncio.Event()
    voters = [Voter(n, port, list(bases), load, seed) for n in range(n_voters)]
    end_s = time.monotonic() + seconds + 3.0
    tasks = [asyncio.create_task(voter.run(start, end_s, ranks)) for voter in voters]
    await asyncio.sleep(3.0)  # everybody has joined and follows the results
    start.set()
    for answer in await asyncio.gather(*tasks, return_exceptions=True):
        if isinstance(answer, BaseException) and not isinstance(answer, OSError | EOFError):
            load.faults.append(repr(answer))
    return load


def lost_and_doubled(
    folders: Mapping[str, Path], load: Load
) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Acknowledged votes that a ballot file lacks or has otherwise, and names counted twice.

    Parameters
    ----------
    folders : mapping of str to Path
        The run folder of each vote.
    """
    kept: dict[tuple[str, str], list[int]] = {}
    for base, folder in folders.items():
        with closing(sqlite3.connect(folder / "ballot.sqlite")) as ballot:
            rows = ballot.execute(
                "SELECT name, choice FROM votes JOIN listeners ON listeners.id = votes.listener"
            ).fetchall()
        for name, choice in rows:
            kept.setdefault((base, name), []).append(choice)
    lost = [who for who, choice in load.acknowledged.items() if choice not in kept.get(who, [])]
    return lost, [who for who, choices in kept.items() if len(choices) > 1]
