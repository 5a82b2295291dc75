"""How long the head of a request may take, and how large it may be.

uvicorn waits for the first request of a connection for as long as it is open, and reads heads of
any size: a few hundred half-open connections would keep the phones out. Both bounds are ours.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

if TYPE_CHECKING:
    import asyncio

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
