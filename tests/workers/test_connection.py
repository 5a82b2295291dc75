"""Addresses that are none, or at which nobody or somebody else answers, are told as a sentence."""

from __future__ import annotations

import gc
import socket
import subprocess
import sys
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from segue.errors import OptionError
from segue.workers import open_workers
from segue.workers.connection import check_address
from tests.catalogue.tiny_songs import write_song
from tests.workers.test_workers import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.mark.parametrize(
    "address",
    ["tcp://10.0.0.5:8786", "tls://[::1]:8786", "studio-pc.local:8786", "ws://band:1"],
)
def test_an_address_has_a_host_and_a_port(address: str) -> None:
    check_address(address)


@pytest.mark.parametrize(
    "address",
    [
        "banana",
        "",
        "tcp://banana",
        "tcp://:8786",
        "tcp://10.0.0.5:0",
        "tcp://10.0.0.5:65536",
        "tcp://10.0.0.5:port",
        "tcp://two words:8786",
        "::1:8786",
        "http://127.0.0.1:8786",
        "inproc://127.0.0.1/1/1",
    ],
)
def test_what_is_no_address_is_told_with_one_that_is(address: str) -> None:
    with pytest.raises(OptionError, match=r"one looks like tcp://HOST:8786\."):
        check_address(address)
    with pytest.raises(OptionError, match="no address"), open_workers(cluster=address):
        pass


@contextmanager
def answering(words: bytes, *, hangs_up: bool) -> Iterator[str]:
    """A server that says the same to everybody; its address."""
    callers = []

    def answer() -> None:
        while True:
            try:
                caller, _ = server.accept()
            except OSError:  # closed at the end
                return
            caller.sendall(words)
            if hangs_up:
                caller.close()
            else:
                callers.append(caller)

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=answer)
        thread.start()
        try:
            yield f"tcp://127.0.0.1:{server.getsockname()[1]}"
        finally:
            server.shutdown(socket.SHUT_RDWR)
            thread.join()
            for caller in callers:
                caller.close()


@pytest.mark.parametrize(
    ("words", "hangs_up"),
    [
        pytest.param(b"", False, id="says nothing"),
        pytest.param(b"", True, id="hangs up"),
        pytest.param(b"HTTP/1.1 400 Bad Request\r\n\r\n", True, id="web server"),
        pytest.param(b"220 mail.example ESMTP\r\n", False, id="mail server"),
        pytest.param(bytes(64), False, id="zeros"),
    ],
)
def test_somebody_else_is_not_taken_for_a_scheduler(
    monkeypatch: pytest.MonkeyPatch, words: bytes, hangs_up: bool
) -> None:
    monkeypatch.setattr("segue.workers.connection.CONNECT_LIMIT_S", 2)
    with answering(words, hangs_up=hangs_up) as address:
        with (
            pytest.raises(OptionError, match=f"no Dask scheduler answers at '{address}'"),
            open_workers(cluster=address),
        ):
            pass
        gc.collect()  # what is left behind must not complain either


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("segue.workers.connection.CONNECT_LIMIT_S", 1)
    with (
        pytest.raises(OptionError, match=r"no Dask scheduler answers at 'tcp://127\.0\.0\.1:9'"),
        open_workers(cluster="tcp://127.0.0.1:9"),
    ):
        pass


@pytest.mark.parametrize("where", ["banana", "somebody else"])
def test_the_command_says_its_sentence_and_nothing_else(tmp_path: Path, where: str) -> None:
    (tmp_path / "songs").mkdir()
    write_song(tmp_path / "songs" / "a.wav", 0)
    with answering(b"", hangs_up=True) as address:
        line = [sys.executable, "-m", "segue", "catalogue", str(tmp_path / "songs"), "--quiet"]
        line += ["--to", str(tmp_path / "to.sqlite")]
        line += ["--cluster", address if where == "somebody else" else where]
        done = subprocess.run(
            line, cwd=ROOT, check=False, capture_output=True, text=True, timeout=300
        )
    assert done.returncode == 2
    assert done.stdout == ""
    (said,) = done.stderr.splitlines()
    assert said.startswith("segue: ")
    assert ("no address" if where == "banana" else "no Dask scheduler") in said
    assert where == "somebody else" or not (tmp_path / "to.sqlite").exists()
