"""A running server and a client that sends exactly what it is told, byte for byte."""

import http.client
import json
import socket
import sqlite3
import threading
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import NamedTuple

from segue.audition.limits import Limits
from segue.audition.network import listening_socket
from segue.audition.poll import VotedRun
from segue.audition.secrets import Secrets
from segue.audition.serve import vote_server
from segue.audition.sitting import open_evening, open_sitting

CODE = "K7MP3XQD"
TOKEN = "the-host-token"
WIDE = Limits(requests_a_second=1e6, burst=1e6)
"""For tests of other things."""
PATIENCE_S = 60.0


@dataclass
class Answer:
    status: int
    headers: dict
    body: bytes

    @property
    def values(self):
        return json.loads(self.body)


class Client:
    """One listener: keeps its cookie, sends the headers that a browser would."""

    def __init__(self, port, host="127.0.0.1", patience_s=PATIENCE_S):
        self.port, self.host, self.cookie = port, host, None
        self.patience_s = patience_s

    def ask(self, path, method="GET", body=None, headers=None, without=()):
        connection = http.client.HTTPConnection(self.host, self.port, timeout=self.patience_s)
        sent = {"Host": f"{self.host}:{self.port}"}
        if self.cookie:
            sent["Cookie"] = self.cookie
        if method == "POST":
            sent |= {
                "Origin": f"http://{self.host}:{self.port}",
                "Content-Type": "application/json",
                "Content-Length": str(len(body or b"")),
            }
        sent |= headers or {}
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            if name not in without:
                connection.putheader(name, value)
        connection.endheaders(body)
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        found = {k.lower(): v for k, v in answer.getheaders()}
        if "set-cookie" in found:
            self.cookie = found["set-cookie"].partition(";")[0]
        return Answer(answer.status, found, body)

    def post(self, path, values, **more):
        return self.ask(path, method="POST", body=json.dumps(values).encode(), **more)

    def join(self, name="Ann", code=CODE):
        assert self.post("/join", {"name": name, "code": code}).status == 200
        return self

    def become_host(self):
        assert self.post("/host", {"token": TOKEN}).status == 200
        return self

    def events(self, path="/events"):
        """Events of the live results as (name, value), until the stream ends."""
        sock = socket.create_connection((self.host, self.port), timeout=PATIENCE_S)
        head = f"GET {path} HTTP/1.1\r\nHost: {self.host}:{self.port}\r\n"
        sock.sendall(f"{head}Cookie: {self.cookie}\r\n\r\n".encode())
        with sock, sock.makefile("r", encoding="utf-8") as lines:
            name = None
            for line in lines:
                if line.startswith("event: "):
                    name = line[7:].strip()
                elif line.startswith("data: "):
                    yield name, json.loads(line[6:])


def raw(port, request):
    """Everything that comes back for some bytes."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as sock:
        sock.sendall(request)
        sock.shutdown(socket.SHUT_WR)
        parts = []
        while part := sock.recv(65536):
            parts.append(part)
    return b"".join(parts)


class Kept(NamedTuple):
    choice: int
    confidence: int
    words: str


def kept(poll):
    """The votes of a round as they lie in the file, in the order in which they came."""
    with closing(sqlite3.connect(poll.ballot.path)) as ballot:
        rows = ballot.execute(
            "SELECT choice, confidence, words FROM votes WHERE round = ? ORDER BY rowid",
            (poll.ballot.round,),
        )
        return [Kept(*row) for row in rows]


def a_vote(choice=1, **more):
    return {"choice": choice, "confidence": 2, "heard": [1, 2, 3], "words": "", **more}


def secrets_of(code):
    return Secrets(join_code=code, host_token=TOKEN, round_token="0a1b2c3d")


@contextmanager
def running(folder, view, files, *, limits=WIDE, code=CODE):
    """A server in a thread of its own; gives its port and its poll."""
    run = VotedRun(folder=folder, view=view, files=files)
    sitting = open_sitting(run, secrets=secrets_of(code), limits=limits)
    with _serving(sitting) as port:
        yield port, sitting.polls[""]


@contextmanager
def running_evening(folder, runs, *, limits=WIDE, code=CODE):
    """A server of an evening in a thread of its own; gives its port and its polls in order."""
    sitting = open_evening(folder, "Friday", runs, secrets=secrets_of(code), limits=limits)
    with _serving(sitting) as port:
        yield port, tuple(sitting.polls.values())


@contextmanager
def _serving(sitting):
    server = vote_server(sitting, names=("localhost",))
    with listening_socket("127.0.0.1", 0) as sock:
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
        thread.start()
        try:
            yield sock.getsockname()[1]
        finally:
            server.handle_exit(2, None)
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
