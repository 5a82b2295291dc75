"""Hands at a desk: they order, and note what was shown as kept, until the desk is killed."""

from __future__ import annotations

import http.client
import json
import os
import re
import subprocess
import sys
import tomllib
import urllib.parse
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from segue.audio.song_toml import song_toml_beside
from segue.desk.orders import FASTEST_PACE, PACE_NAME, SLOWEST_PACE
from segue.errors import SegueError
from segue.runfolder import read_document
from segue.setlist.set_file import read_set

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator

SERVED: Final = re.compile(r"The desk: http://127\.0\.0\.1:(\d+)/([\w-]+)/")
KEYS: Final = ("C major", "D major", "E minor", "F minor", "G major", "A minor", "Bb major")


class Desk:
    """The installed command, serving a folder in a process of its own."""

    def __init__(self, folder: Path) -> None:
        words = [sys.executable, "-m", "segue", "desk", str(folder), "--port", "0", "--no-open"]
        self.process = subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        self.port, self.token = next(self._addresses())

    def _addresses(self) -> Iterator[tuple[int, str]]:
        for line in self.process.stdout or ():
            if found := SERVED.match(line):
                yield int(found[1]), found[2]
        raise RuntimeError("the desk ended before it served")

    def ask(self, path: str, body: bytes | None = None) -> bytes:
        """The answer of an address.

        Raises
        ------
        OSError, http.client.HTTPException
            If the desk is gone.
        RuntimeError
            If it says no.
        """
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        headers = {"Origin": f"http://127.0.0.1:{self.port}", "Content-Type": "application/json"}
        method = "GET" if body is None else "POST"
        connection.request(method, f"/{self.token}{path}", body=body, headers=headers)
        answer = connection.getresponse()
        content = answer.read()
        if answer.status != http.client.OK:
            raise RuntimeError(f"{path}: {answer.status} {content.decode()[:200]}")
        return content

    def processor_s(self) -> float:
        """Processor time of the desk and of all its processes so far; nought where none is told.

        Unlike the clock it does not grow with what else the machine does.
        """
        waiting, ticks = [self.process.pid], 0
        while waiting:
            place = Path("/proc") / str(waiting.pop())
            try:  # proc_pid_stat(5): fields 14 to 17, counted from behind the name
                fields = (place / "stat").read_text().rpartition(")")[2].split()
                ticks += sum(map(int, fields[11:15]))
                for task in (place / "task").iterdir():
                    waiting += map(int, (task / "children").read_text().split())
            except OSError:
                continue  # it has just ended
        return ticks / os.sysconf("SC_CLK_TCK")

    def kill(self) -> None:
        """As the power button does."""
        self.process.kill()
        self.process.wait()


@dataclass
class Hands:
    """What was ordered, and what of it was shown as kept.

    Parameters
    ----------
    run : str
        A run folder below the songs.
    kept : dict
        By what it is: the value that was acknowledged last.
    under_way : dict
        Values that were sent and not acknowledged: they may be there, or not.
    files : dict
        Files that were acknowledged, with what they hold.
    """

    folder: Path
    run: str
    song: str
    sound: bytes
    dice: random.Random
    kept: dict[str, Any] = field(default_factory=dict)
    under_way: dict[str, Any] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    versions: set[str] = field(default_factory=set)
    sets: set[str] = field(default_factory=set)
    refused: list[str] = field(default_factory=list)
    n_kept: int = 0

    def order(self, desk: Desk) -> None:
        """One thing that somebody does at a desk."""
        quick = (self._say, self._choose, self._drop, self._new_set, self._pace, self._slot)
        self.dice.choice((*quick, *quick, self._change))(desk)
        self.n_kept += 1

    def _set(self, desk: Desk, name: str, value: object, path: str, order: object) -> None:
        self.under_way[name] = value
        desk.ask(path, json.dumps(order).encode())
        self.kept[name] = value
        self.under_way.pop(name)

    def _say(self, desk: Desk) -> None:
        key = self.dice.choice(KEYS)
        order = {"song": self.song, "edge": "end", "field": "key", "value": key}
        self._set(desk, "key", key, "/say", order)

    def _choose(self, desk: Desk) -> None:
        why = f"take {self.dice.random():.6f}"
        self._set(desk, "choice", why, "/choose", {"run": self.run, "rank": 1, "why": why})

    def _drop(self, desk: Desk) -> None:
        name = urllib.parse.quote(f"song {self.dice.randrange(10**9)}.wav")
        told = json.loads(desk.ask(f"/songs?name={name}", self.sound))
        self.files[told["name"]] = self.sound

    def _new_set(self, desk: Desk) -> None:
        title = f"Set {self.dice.randrange(10**9)}"
        order = json.dumps({"title": title, "songs": [self.song]}).encode()
        self.sets.add(json.loads(desk.ask("/evening/new", order))["set"])

    def _pace(self, desk: Desk) -> None:
        pace = self.dice.randint(SLOWEST_PACE, FASTEST_PACE)
        self._set(desk, "pace", pace, "/pace", {"words_a_minute": pace})

    def _slot(self, desk: Desk) -> None:
        if not self.sets:
            self._new_set(desk)
        name, minutes = max(self.sets), self.dice.randint(1, 500)
        titles = [song.title for song in read_set(self.folder / name).songs]
        order = {"set": name, "titles": titles, "song": None, "field": "slot", "value": minutes}
        self._set(desk, f"slot of {name}", 60.0 * minutes, "/evening/say", order)

    def _change(self, desk: Desk) -> None:
        by_db = self.dice.choice((-1.0, -2.0, -3.0))
        order = {"run": self.run, "option": "1", "levels": [["bridge", by_db]]}
        told = json.loads(desk.ask("/change", json.dumps(order).encode()))
        self.versions.add(told["label"])

    def lost(self) -> list[str]:
        """What was shown as kept and is not there, and what cannot be read."""
        faults, self.refused = self.refused, []
        beside = song_toml_beside(self.folder / self.song)
        slots = {f"slot of {file}": read_set(self.folder / file).slot_s for file in self.sets}
        found_now = {"key": self._key(beside), "choice": self._choice(), "pace": self._pace_now()}
        for name, found in (found_now | slots).items():
            allowed = [self.kept.get(name), self.under_way.get(name)]
            if found not in allowed:
                faults.append(f"{name} is {found!r}, and {allowed} were told")
            self.kept[name] = found
        self.under_way.clear()
        for file, sound in self.files.items():
            if (self.folder / file).read_bytes() != sound:
                faults.append(f"{file} is another")
        for file in self.sets:
            tomllib.loads((self.folder / file).read_text(encoding="utf-8"))
        faults += self._lost_versions()
        return faults

    def _key(self, beside: Path) -> str | None:
        if not beside.exists():
            return None
        table = tomllib.loads(beside.read_text(encoding="utf-8"))
        return table.get("end", {}).get("key") or table.get("key")

    def _pace_now(self) -> int | None:
        path = self.folder / PACE_NAME
        if not path.exists():
            return None
        return int(tomllib.loads(path.read_text(encoding="utf-8"))["words_a_minute"])

    def _choice(self) -> str | None:
        choice = read_document(self.folder / self.run).choice
        return None if choice is None else choice.why

    def _lost_versions(self) -> list[str]:
        folder = self.folder / self.run
        try:
            document = read_document(folder)
        except SegueError as error:
            return [f"the run cannot be read: {error}"]
        labels = {version.label for version in document.versions}
        lost = [f"version {label} is gone" for label in sorted(self.versions - labels)]
        lost += [
            f"{record.music_file} is not there"
            for record in document.candidates
            if not (folder / record.music_file).is_file()
        ]
        self.versions = labels
        return lost
