"""What the page asks for: itself and its parts, sounds, pictures and packs."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from starlette.responses import FileResponse, HTMLResponse, Response

from segue.audition.limits import refusal
from segue.audition.messages import event_text, stream_of
from segue.audition.serve import qr_svg
from segue.desk.desk_pages import (
    NAMES,
    ends_html,
    evening_html,
    options_html,
    page_html,
    script_text,
    songs_html,
    style_text,
)
from segue.desk.house import TAKES, House
from segue.desk.own_folder import NOT_FOUND
from segue.desk.run_view import run_view
from segue.pages import filled

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping
    from pathlib import Path

    from starlette.requests import Request

    Answering = Callable[[Request, House], Awaitable[Response]]


def _html(made: Callable[[House, Mapping[str, str]], str]) -> Answering:
    """What answers with a part of the page, by the names of what is picked."""

    async def answered(request: Request, house: House) -> Response:
        names = {name: request.query_params.get(name, "") for name in NAMES}
        return HTMLResponse(await asyncio.to_thread(made, house, names))

    return answered


async def _versions(request: Request, house: House) -> Response:
    run = request.query_params.get("run", "")
    await asyncio.to_thread(run_view, house, run)  # what is no run is refused
    made = house.version_maker.under_way(run)
    return HTMLResponse(filled("desk_versions.html", {"under_way": made}))


async def _events(request: Request, house: House) -> Response:
    limits = house.clients.limits
    return stream_of(request, house.live, limits, lambda: event_text("changed", house.versions))


async def _script(request: Request, _: House) -> Response:
    text = script_text(request.path_params["name"])
    if text is None:
        return refusal("There is no such script.", status=NOT_FOUND)
    return Response(text, media_type="text/javascript")


async def _style(_: Request, __: House) -> Response:
    return Response(style_text(), media_type="text/css")


PARTS: Final[dict[str, Answering]] = {
    "/": _html(page_html),
    "/songs": _html(songs_html),
    "/ends": _html(ends_html),
    "/options": _html(options_html),
    "/versions": _versions,
    "/evening": _html(evening_html),
    "/events": _events,
    "/js/{name}": _script,
    "/desk.css": _style,
}
"""Addresses and what answers them."""


SOUND_TYPES: Final = {".flac": "audio/flac", ".wav": "audio/wav"}
_ONE_FILE_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "frame-ancestors 'none'; sandbox allow-scripts"
)
"""Of a page that has all in one file: it can reach nothing, the desk neither (W3C, CSP level 3)."""


async def _end_sound(request: Request, house: House) -> Response:
    name = request.path_params["name"]
    known = {h.opened.sound.name: h.opened.sound for h in house.ears.heard.values() if h.opened}
    return _file(known.get(name))


async def _draft_sound(request: Request, house: House) -> Response:
    making = house.maker.makings.get(request.path_params["number"])
    index = request.path_params["index"]
    if making is None or index >= len(making.drafts):
        return refusal("There is no such sound.", status=NOT_FOUND)
    return Response(making.drafts[index].sound, media_type=SOUND_TYPES[".flac"])


async def _rough_sound(request: Request, house: House) -> Response:
    making = house.maker.makings.get(request.path_params["number"])
    known = {} if making is None else {rough.name: rough.sound for rough in making.roughs}
    sound = known.get(request.query_params.get("name", ""))
    if sound is None:
        return refusal("There is no such sound.", status=NOT_FOUND)
    return Response(sound, media_type=SOUND_TYPES[".flac"])


async def _run_sound(request: Request, house: House) -> Response:
    run, key = request.query_params.get("run", ""), request.query_params.get("key", "")
    view = await asyncio.to_thread(run_view, house, run)
    bus, _, number = key.partition("-")
    records = view.document.candidates
    if (
        bus not in ("music", "click", "cue")
        or not number.isdecimal()
        or int(number) >= len(records)
    ):
        return refusal("There is no such sound.", status=NOT_FOUND)
    record = records[int(number)]
    name = {"music": record.music_file, "click": record.click_file, "cue": record.cue_file}[bus]
    return _file(house.folder.inside(f"{run}/{name}"))


async def _picture(request: Request, house: House) -> Response:
    path = house.folder.inside(request.query_params.get("name", ""))
    if path.suffix != ".png" or not path.is_file():
        return refusal("There is no such picture.", status=NOT_FOUND)
    return FileResponse(path, media_type="image/png")


async def _review_page(request: Request, house: House) -> Response:
    path = house.folder.inside(request.query_params.get("name", ""))
    if path.suffix != ".html" or path.parent.parent.name != TAKES or not path.is_file():
        return refusal("There is no such page.", status=NOT_FOUND)
    return FileResponse(
        path, media_type="text/html", headers={"content-security-policy": _ONE_FILE_POLICY}
    )


async def _pack_file(request: Request, house: House) -> Response:
    path = house.packs.get(request.path_params["name"])
    if path is None or not path.is_file():
        return refusal("That pack is not there any more: make it again.", status=NOT_FOUND)
    told = f"attachment; filename*=UTF-8''{quote(path.name)}"
    return FileResponse(path, media_type="application/zip", headers={"content-disposition": told})


async def _qr(_: Request, house: House) -> Response:
    if house.poll_host is None:
        return refusal("No vote is on.", status=NOT_FOUND)
    return Response(qr_svg(house.poll_host.join_url), media_type="image/svg+xml")


def _file(path: Path | None) -> Response:
    if path is None or not path.is_file() or path.is_symlink():
        return refusal("There is no such sound.", status=NOT_FOUND)
    return FileResponse(path, media_type=SOUND_TYPES.get(path.suffix, "audio/wav"))


SOUNDS: Final = {
    "/sound/{name}": _end_sound,
    "/drafts/{number:int}/{index:int}": _draft_sound,
    "/roughs/{number:int}": _rough_sound,
    "/run-sound": _run_sound,
    "/picture": _picture,
    "/review-page": _review_page,
    "/packs/{name}": _pack_file,
    "/qr.svg": _qr,
}
"""Addresses and what answers them."""
