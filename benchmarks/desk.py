"""How soon something is heard on the desk, on the demo band.

Run ``python -m benchmarks.desk``. A desk is served on a copy of the demo songs and asked over its
own addresses, as the page asks. Times are by the clock, so the machine should be idle; the table
tells its load. Reaches: of a pair that was heard roughly before, the first option is audible 2 s
after the press, roughly; the draft of a change after 1.5 s. The first draft of a pair reads its
songs, and the reaches are asked of the later ones.
"""

from __future__ import annotations

import http.client
import json
import os
import shutil
import sys
import tempfile
import threading
import time
import urllib.parse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.audition.network import listening_socket
from segue.cli.between import demo_pair
from segue.desk.desk_server import LOADED_ONCE, desk_server
from segue.desk.house import House
from segue.desk.own_folder import own_folder
from segue.workers import make_ready

if TYPE_CHECKING:
    from collections.abc import Callable

FIRST_S: Final = 2.0  # until the first option is audible
DRAFT_S: Final = 1.5  # until the draft of a change is audible
PATIENCE_S: Final = 600.0
N_ENDS: Final = 2


class Asking:
    """Asks a desk as its page does."""

    def __init__(self, port: int, token: str) -> None:
        self._port, self._token = port, token

    def get(self, path: str, **query: str) -> bytes:
        """The answer of an address."""
        asked = f"?{urllib.parse.urlencode(query)}" if query else ""
        return self._ask("GET", path + asked, None)

    def post(self, path: str, values: object) -> bytes:
        """The answer to what is sent."""
        return self._ask("POST", path, json.dumps(values).encode())

    def _ask(self, method: str, path: str, body: bytes | None) -> bytes:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=PATIENCE_S)
        origin = f"http://127.0.0.1:{self._port}"
        headers = {"Origin": origin, "Content-Type": "application/json"}
        connection.request(method, f"/{self._token}{path}", body=body, headers=headers)
        answer = connection.getresponse()
        content = answer.read()
        if answer.status != http.client.OK:
            raise SystemExit(f"{path}: {answer.status} {content.decode()}")
        return content


def seconds_until(holds: Callable[[], bool]) -> float:
    """How long until something holds."""
    begun = time.perf_counter()
    while not holds():
        if time.perf_counter() - begun > PATIENCE_S:
            raise SystemExit("the desk does not get there")
        time.sleep(0.02)
    return time.perf_counter() - begun


def measured(asking: Asking, old: str, new: str) -> dict[str, float]:
    """Seconds of each step."""
    found: dict[str, float] = {}
    pair = {"old": old, "new": new}
    found["both ends on the page"] = seconds_until(
        lambda: asking.get("/ends", **pair).count(b'class="values"') == N_ENDS
    )
    begun = time.perf_counter()
    asking.post("/rough", pair)
    found["a rough one, the first of the pair"] = time.perf_counter() - begun
    begun = time.perf_counter()
    asking.post("/rough", pair | {"bars": 8})
    found["a rough one, otherwise asked"] = time.perf_counter() - begun
    begun = time.perf_counter()
    made = json.loads(asking.post("/make", pair))
    seconds_until(lambda: b'data-draft="roughs/' in asking.get("/options", run=made["run"]))
    page = asking.get("/options", run=made["run"]).decode()
    asking.get("/" + page.partition('data-draft="')[2].partition('"')[0])
    found["first option audible, roughly"] = time.perf_counter() - begun
    seconds_until(lambda: b'data-draft="drafts/' in asking.get("/options", run=made["run"]))
    found["first option in full sound"] = time.perf_counter() - begun
    seconds_until(lambda: b"run-values" in asking.get("/options", run=made["run"]))
    found["all three made"] = time.perf_counter() - begun
    for n, db in enumerate((-1.0, -2.0, -3.0), start=1):
        change = {"run": made["run"], "option": "1", "levels": [["bridge", db]]}
        begun = time.perf_counter()
        asking.post("/draft", change)
        found[f"draft of change {n} audible"] = time.perf_counter() - begun
    begun = time.perf_counter()
    asking.post("/change", change)
    found["version made"] = time.perf_counter() - begun
    return found


def main() -> int:
    """Print the table; 1 where a reach is missed."""
    make_ready(2, *LOADED_ONCE)
    with tempfile.TemporaryDirectory() as place, listening_socket("127.0.0.1", 0) as sock:
        songs, scratch = Path(place) / "songs", Path(place) / "scratch"
        scratch.mkdir()
        for song in demo_pair():
            shutil.copytree(song, songs / song.name)
        house = House(folder=own_folder(songs), token="bench", scratch=scratch)
        server = desk_server(house)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        old, new = (song.name for song in demo_pair())
        found = measured(Asking(sock.getsockname()[1], "bench"), old, new)
        server.handle_exit(2, None)
        thread.join(10.0)
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for name, seconds in found.items():
        print(f"{name:36s} {seconds:7.2f} s")
    drafts = [v for name, v in found.items() if name.startswith("draft")]
    missed = [
        words
        for words, is_kept in (
            (
                f"the first option within {FIRST_S:g} s",
                found["first option audible, roughly"] <= FIRST_S,
            ),
            (f"later drafts of changes within {DRAFT_S:g} s", max(drafts[1:]) <= DRAFT_S),
        )
        if not is_kept
    ]
    for words in missed:
        print(f"missed: {words}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
