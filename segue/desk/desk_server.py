"""A desk from start to end: open the folder, serve its page until stopped.

Every address begins with the token that the terminal shows.
"""

from __future__ import annotations

import hmac
import secrets
import tempfile
import time
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route

from segue.audition.limits import RequestRefusalError, client_address, refusal
from segue.audition.network import LOOPBACK, listening_socket
from segue.audition.serve import LiveServer, application
from segue.desk.carrying import sweep_dropped
from segue.desk.desk_pages import PARTS, SOUNDS, Answering
from segue.desk.house import House, HouseRules
from segue.desk.orders_taken import DROPS, ORDERS
from segue.desk.own_folder import NOT_FOUND, own_folder
from segue.errors import SegueError
from segue.workers import make_ready

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

    from starlette.applications import Starlette
    from starlette.requests import Request


DESK_PORT: Final = 8438
"""Tried first; not assigned to anything well known (from memory)."""
LOADED_ONCE: Final = (
    "segue.job.steps", "segue.analysis.hear", "segue.desk.ears", "segue.desk.sketcher",
    "segue.render.render", "segue.render.compiled",
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
        desk_server(house).run(sockets=[sock])


def desk_url(house: House, port: int) -> str:
    """Address of the page, with its token."""
    return f"http://{LOOPBACK}:{port}/{house.token}/"


def desk_server(house: House) -> LiveServer:
    """The server of a desk, which hears and makes as long as it runs."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        sweep_dropped(house)
        house.open()
        try:
            yield
        finally:
            house.close()

    app = application(desk_routes(), names=("localhost",), clients=house.clients, lifespan=lifespan)
    app.state.house = house
    return LiveServer(app, house.live)


INVALID, BUSY = 422, 429  # status codes of HTTP (RFC 9110, RFC 6585)


def desk_routes() -> list[BaseRoute]:
    """Every address of the server."""
    read = {**PARTS, **SOUNDS}
    write = {**DROPS, **ORDERS}
    return [
        Route("/favicon.ico", _no_icon),
        Mount(
            "/{token}",
            routes=[
                *(Route(path, _behind_token(answer)) for path, answer in read.items()),
                *(
                    Route(path, _behind_token(answer), methods=["POST"])
                    for path, answer in write.items()
                ),
            ],
        ),
    ]


async def _no_icon(_: Request) -> Response:
    return Response(status_code=204)


def _behind_token(answer: Answering) -> Callable[[Request], Awaitable[Response]]:
    """Only for those who know the token; what cannot be done is told in one sentence."""

    async def answered(request: Request) -> Response:
        house = request.app.state.house
        if not isinstance(house, House):
            raise TypeError("the application was made without a house")
        try:
            _check_token(request, house)
            return await answer(request, house)
        except RequestRefusalError as error:
            return refusal(str(error), status=error.status)
        except SegueError as error:
            return refusal(_without_root(str(error), house), status=INVALID)

    return answered


def _check_token(request: Request, house: House) -> None:
    """Whether the address has the token; wrong ones make their sender wait."""
    address, now_s = client_address(request.scope), time.monotonic()
    wait_s = house.clients.code_wait_s(address, now_s)
    typed = str(request.path_params["token"]).encode("utf-8", "surrogatepass")
    if hmac.compare_digest(house.token.encode(), typed):
        return
    if wait_s > 0:
        raise RequestRefusalError("Too many wrong addresses: wait a moment.", status=BUSY)
    house.clients.note_wrong_code(address, now_s)
    raise RequestRefusalError("Open the address that the terminal shows.", status=NOT_FOUND)


def _without_root(words: str, house: House) -> str:
    return words.replace(f"{house.folder.root}/", "")
