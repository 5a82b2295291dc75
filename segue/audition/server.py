"""The server of a vote: on this machine only, or for the phones in the room.

Starlette and uvicorn: small, well kept, and no more than is needed. They come
with the extra ``segue[serve]``; nothing else in Segue imports this module.
"""

from __future__ import annotations

import asyncio
import socket
from contextlib import asynccontextmanager, suppress
from typing import TYPE_CHECKING, Final

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware

from segue.audition.limits import Gate
from segue.audition.routes import routes
from segue.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from types import FrameType

    from segue.audition.desk import Desk

USUAL_PORT: Final = 8437
"""Tried first; not assigned to anything well known (from memory)."""
_MOST_CONNECTIONS: Final = 1000
_IDLE_S: Final = 20
_LEAVE_S: Final = 2


class VoteServer(uvicorn.Server):
    """uvicorn, which ends the streams of results before it waits for connections to end.

    Parameters
    ----------
    names : tuple of str
        Host names that are ours.
    """

    def __init__(self, desk: Desk, *, names: tuple[str, ...]) -> None:
        self._desk = desk
        super().__init__(
            uvicorn.Config(
                application(desk, names=names),
                log_config=None,
                log_level="error",
                access_log=False,
                proxy_headers=False,  # who asks is who connected
                server_header=False,
                ws="none",
                lifespan="on",
                limit_concurrency=_MOST_CONNECTIONS,
                timeout_keep_alive=_IDLE_S,
                timeout_graceful_shutdown=_LEAVE_S,
            )
        )

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End the streams, then everything."""
        self._desk.live.stop()
        super().handle_exit(sig, frame)


def application(desk: Desk, *, names: tuple[str, ...]) -> Starlette:
    """The server as an ASGI application.

    Parameters
    ----------
    desk : Desk
        Its ballot is closed when the application ends.
    names : tuple of str
        Host names that are ours.
    """

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        writing = asyncio.create_task(desk.recorder.run())
        try:
            yield
        finally:
            writing.cancel()
            with suppress(asyncio.CancelledError):
                await writing
            desk.ballot.close()

    gate = Middleware(Gate, names=names, clients=desk.clients)
    app = Starlette(routes=routes(), middleware=[gate], lifespan=lifespan)
    app.router.redirect_slashes = False
    app.state.desk = desk
    return app


def listening_socket(host: str, port: int | None) -> socket.socket:
    """A socket to serve on.

    Parameters
    ----------
    host : str
        Address to bind.
    port : int or None
        None for the usual one, or any free one if that is taken.

    Raises
    ------
    OptionError
        If the port cannot be had.
    """
    tried = (USUAL_PORT, 0) if port is None else (port,)
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
