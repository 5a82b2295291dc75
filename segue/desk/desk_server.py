"""A desk from start to end: open the folder, serve its page until stopped."""

from __future__ import annotations

import secrets
import tempfile
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware

from segue.audition.limits import Gate
from segue.audition.network import LOOPBACK, listening_socket
from segue.audition.serve import server_config
from segue.desk.carrying import sweep_dropped
from segue.desk.desk_routes import desk_routes
from segue.desk.house import House, HouseRules
from segue.desk.own_folder import own_folder
from segue.workers import make_ready

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable
    from types import FrameType

DESK_PORT: Final = 8438
"""Tried first; not assigned to anything well known (from memory)."""
LOADED_ONCE: Final = (
    "segue.job.steps", "segue.analysis.hear", "segue.desk.open_end", "segue.desk.rough_option",
)  # fmt: skip
"""What the processes of a desk work with."""
_TOKEN_BYTES: Final = 16  # 128 bits: not to be guessed


def serve_desk(
    folder: Path, *, port: int | None, rules: HouseRules, announce: Callable[[str], None]
) -> None:
    """Serve the desk of a folder, on this machine alone, until the process is told to stop.

    Parameters
    ----------
    folder : Path
        The songs; what is made lies there, too.
    port : int or None
        None for the usual one, or any free one.
    announce : callable
        Told the address before the first request is answered.

    Raises
    ------
    SegueError
        If the folder cannot be used, or the port is taken.
    """
    own = own_folder(folder)
    make_ready(2, *LOADED_ONCE)
    with (
        tempfile.TemporaryDirectory(prefix="segue-desk-") as scratch,
        listening_socket(LOOPBACK, port, usual=DESK_PORT) as sock,
    ):
        house = House(
            folder=own,
            token=secrets.token_urlsafe(_TOKEN_BYTES),
            scratch=Path(scratch),
            rules=rules,
        )
        announce(desk_url(house, sock.getsockname()[1]))
        DeskServer(house).run(sockets=[sock])


def desk_url(house: House, port: int) -> str:
    """Address of the page, with its token."""
    return f"http://{LOOPBACK}:{port}/{house.token}/"


class DeskServer(uvicorn.Server):
    """uvicorn, which ends the streams of news before it waits for connections to end."""

    def __init__(self, house: House) -> None:
        self._house = house
        super().__init__(server_config(desk_application(house)))

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End the streams, then everything."""
        self._house.live.stop()
        super().handle_exit(sig, frame)


def desk_application(house: House) -> Starlette:
    """The server as an ASGI application; it hears and makes as long as it runs."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        sweep_dropped(house)
        house.open()
        try:
            yield
        finally:
            house.close()

    gate = Middleware(Gate, names=("localhost",), clients=house.clients)
    app = Starlette(routes=desk_routes(), middleware=[gate], lifespan=lifespan)
    app.router.redirect_slashes = False
    app.state.house = house
    return app
