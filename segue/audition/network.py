"""Where a server is found, and how much of a request it hears.

Its socket, its address on the network, the names that are ours. uvicorn waits for the first request
of a connection for as long as it is open, and reads heads of any size: a few hundred half-open
connections would keep the phones out. Both bounds here are ours.
"""

from __future__ import annotations

import socket
from contextlib import suppress
from typing import TYPE_CHECKING, ClassVar, Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from segue.errors import OptionError

if TYPE_CHECKING:
    import asyncio


LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"  # noqa: S104 - only with --lan, and behind a join code
_SOMEWHERE: Final = ("192.0.2.1", 9)
"""Reserved for documentation (RFC 5737): asking for the way there sends nothing."""
USUAL_PORT: Final = 8437
"""Tried first; not assigned to anything well known (from memory)."""


def listening_socket(host: str, port: int | None, *, usual: int = USUAL_PORT) -> socket.socket:
    """A socket to serve on.

    Parameters
    ----------
    port : int or None
        None for the usual one, or any free one if that is taken.

    Raises
    ------
    OptionError
        If the port cannot be had.
    """
    tried = (usual, 0) if port is None else (port,)
    problem = ""
    for number in tried:
        # Named as TCP, or the event loop leaves small answers to wait for one another (Nagle).
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            sock.bind((host, number))
            sock.listen(2048)
        except OSError as error:
            sock.close()
            problem = error.strerror or str(error)
        else:
            return sock
    raise OptionError(f"port {tried[0]} cannot be had ({problem}): name another with --port.")


def allow_open_files(n: int) -> None:
    """Let this process hold many files open, as far as the system allows.

    A connection is one, a listener who is sent a sound holds two, a ballot has six; some systems
    begin with 256.
    """
    try:
        import resource
    except ModuleNotFoundError:  # Windows, which has no such limit
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = n if hard == resource.RLIM_INFINITY else min(n, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def lan_address() -> str | None:
    """Address of this machine on the network, or None if there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        try:
            sock.connect(_SOMEWHERE)
        except OSError:
            return None
        address = str(sock.getsockname()[0])
    return None if address.startswith("127.") else address


def host_names() -> tuple[str, ...]:
    """Names by which this machine may be asked, in lower case."""
    name = socket.gethostname().lower()
    bare = name.partition(".")[0]
    return ("localhost", name, bare, f"{bare}.local")


MOST_HEAD_BYTES: Final = 16 * 1024
"""Of a request line and its headers: a browser sends about one thousand."""
_TOO_LARGE: Final = (
    b"HTTP/1.1 431 Request Header Fields Too Large\r\n"  # RFC 6585, section 5
    b"content-length: 0\r\nconnection: close\r\n\r\n"
)
_LINGER_S: Final = 1.0
"""The rest is thrown away for so long: a closed socket with unread bytes takes back its answer."""


class _LongHeadError(Exception):
    """Ends the reading of a head that came in one piece."""


class BoundedHeads(HttpToolsProtocol):
    """HTTP as uvicorn speaks it, to those who say what they want in good time.

    Attributes
    ----------
    head_s : float
        Until a head must be there, from the connection or from the first byte after an answer.
    """

    head_s: ClassVar[float] = 10.0

    _timer: asyncio.TimerHandle | None = None
    _waits_for_head = True
    _is_too_large = False
    _is_refused = False
    _n_bytes = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        self._start()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take in what came, within the bounds."""
        if self._is_refused:
            return
        if not self._waits_for_head and self.cycle.response_complete:
            self._waits_for_head = True
        if self._waits_for_head:
            self._start()
        super().data_received(data)
        if self._waits_for_head:  # still
            self._n_bytes += len(data)
            if self._n_bytes > MOST_HEAD_BYTES:
                self._refuse()

    def on_headers_complete(self) -> None:
        """Go on with a head that is whole, unless it is too large."""
        n_bytes = len(self.url) + sum(len(name) + len(value) for name, value in self.headers)
        if n_bytes > MOST_HEAD_BYTES:
            self._is_too_large = True
            raise _LongHeadError
        self._stop()
        self._waits_for_head, self._n_bytes = False, 0
        super().on_headers_complete()

    def send_400_response(self, msg: str) -> None:
        """Answer what cannot be read; a head that is too large ends up here, too."""
        if self._is_too_large:
            self._refuse()
        elif not self._is_refused:
            super().send_400_response(msg)

    def _start(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(self.head_s, self.transport.close)

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _refuse(self) -> None:
        if self._is_refused or self.transport.is_closing():
            return
        self._stop()
        self._is_refused = True
        self.transport.write(_TOO_LARGE)
        self.loop.call_later(_LINGER_S, self.transport.close)
