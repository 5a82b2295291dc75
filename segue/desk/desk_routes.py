"""What can be asked of the server of a desk; every address begins with its token."""

from __future__ import annotations

import hmac
import time
from typing import TYPE_CHECKING

from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route

from segue.audition.limits import RequestRefusalError, client_address, refusal
from segue.desk.desk_parts import PARTS
from segue.desk.desk_sounds import SOUNDS
from segue.desk.files_dropped import DROPS
from segue.desk.house import House
from segue.desk.orders_taken import ORDERS
from segue.desk.own_folder import NOT_FOUND
from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

    Answering = Callable[[Request, House], Awaitable[Response]]

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
