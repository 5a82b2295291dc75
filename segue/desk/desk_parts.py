"""The page of the desk and its parts, as they are asked for."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from starlette.responses import HTMLResponse, Response, StreamingResponse

from segue.audition.limits import client_address, refusal
from segue.audition.live import event_text
from segue.desk.desk_pages import (
    ends_html,
    evening_html,
    options_html,
    page_html,
    script_text,
    songs_html,
    style_text,
)
from segue.desk.own_folder import NOT_FOUND
from segue.desk.run_view import run_view
from segue.pages import filled

if TYPE_CHECKING:
    from starlette.requests import Request

    from segue.desk.house import House

_BUSY: Final = 429  # status code of HTTP (RFC 6585)


async def _page(request: Request, house: House) -> Response:
    asked = request.query_params
    names = {name: asked.get(name, "") for name in ("old", "new", "run", "set")}
    return HTMLResponse(await asyncio.to_thread(page_html, house, names))


async def _songs(request: Request, house: House) -> Response:
    asked = request.query_params
    picked = (asked.get("old", ""), asked.get("new", ""))
    return HTMLResponse(await asyncio.to_thread(songs_html, house, picked))


async def _ends(request: Request, house: House) -> Response:
    asked = request.query_params
    return HTMLResponse(
        await asyncio.to_thread(ends_html, house, asked.get("old", ""), asked.get("new", ""))
    )


async def _options(request: Request, house: House) -> Response:
    asked = request.query_params
    names = {name: asked.get(name, "") for name in ("old", "new", "run")}
    return HTMLResponse(await asyncio.to_thread(options_html, house, names))


async def _versions(request: Request, house: House) -> Response:
    run = request.query_params.get("run", "")
    await asyncio.to_thread(run_view, house, run)  # what is no run is refused
    made = house.version_maker.under_way(run)
    return HTMLResponse(filled("desk_versions.html", {"under_way": made}))


async def _evening(request: Request, house: House) -> Response:
    return HTMLResponse(
        await asyncio.to_thread(evening_html, house, request.query_params.get("set", ""))
    )


async def _events(request: Request, house: House) -> Response:
    address = client_address(request.scope)
    if not house.live.has_room(address, house.clients.limits.streams):
        return refusal("Too many open windows: close one.", status=_BUSY)
    stream = house.live.messages(address, lambda: event_text("changed", house.versions))
    return StreamingResponse(stream, media_type="text/event-stream")


async def _script(request: Request, _: House) -> Response:
    text = script_text(request.path_params["name"])
    if text is None:
        return refusal("There is no such script.", status=NOT_FOUND)
    return Response(text, media_type="text/javascript")


async def _style(_: Request, __: House) -> Response:
    return Response(style_text(), media_type="text/css")


PARTS: Final = {
    "/": _page,
    "/songs": _songs,
    "/ends": _ends,
    "/options": _options,
    "/versions": _versions,
    "/evening": _evening,
    "/events": _events,
    "/js/{name}": _script,
    "/desk.css": _style,
}
"""Addresses and what answers them."""
