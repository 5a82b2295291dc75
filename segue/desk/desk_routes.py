"""What can be asked of the server of a desk; every address begins with its token."""

from __future__ import annotations

import asyncio
import hmac
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar
from urllib.parse import quote

from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import BaseRoute, Mount, Route

from segue.audition.bodies import body_of
from segue.audition.limits import RequestRefusalError, client_address, refusal
from segue.audition.live import event_text
from segue.desk import carrying, evening_desk, orders, shaped
from segue.desk.desk_pages import (
    ends_html,
    evening_html,
    options_html,
    page_html,
    review_html,
    script_text,
    songs_html,
    style_text,
)
from segue.desk.house import TAKES, House
from segue.desk.own_folder import NOT_FOUND
from segue.desk.poll_host import host_poll
from segue.desk.run_view import run_view
from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

    Answering = Callable[[Request, House], Awaitable[Response]]

Body = TypeVar("Body")
Done = TypeVar("Done")

INVALID, BUSY = 422, 429  # status codes of HTTP (RFC 9110, RFC 6585)
SOUND_TYPES: Final = {".flac": "audio/flac", ".wav": "audio/wav"}
_ONE_FILE_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "frame-ancestors 'none'; sandbox allow-scripts"
)
"""Of a page that has all in one file: it can reach nothing, the desk neither (W3C, CSP level 3)."""


def desk_routes() -> list[BaseRoute]:
    """Every address of the server."""
    read: dict[str, Answering] = {
        "/": _page,
        "/songs": _songs,
        "/ends": _ends,
        "/options": _options,
        "/evening": _evening,
        "/events": _events,
        "/sound/{name}": _end_sound,
        "/drafts/{number:int}/{index:int}": _draft_sound,
        "/run-sound": _run_sound,
        "/picture": _picture,
        "/review-page": _review_page,
        "/packs/{name}": _pack_file,
        "/qr.svg": _qr,
        "/js/{name}": _script,
        "/desk.css": _style,
    }
    write: dict[str, Answering] = {
        "/songs": _drop_song,
        "/take": _drop_take,
        "/say": _say,
        "/make": _make,
        "/choose": _choose,
        "/change": _change,
        "/draft": _draft,
        "/undo": _undo,
        "/redo": _redo,
        "/pack": _pack,
        "/vote": _vote,
        "/vote/stop": _stop_vote,
        "/evening/order": _reorder,
        "/evening/new": _new_set,
        "/evening/make": _make_evening,
    }
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


async def _evening(request: Request, house: House) -> Response:
    return HTMLResponse(
        await asyncio.to_thread(evening_html, house, request.query_params.get("set", ""))
    )


async def _events(request: Request, house: House) -> Response:
    address = client_address(request.scope)
    if not house.live.has_room(address, house.clients.limits.streams):
        return refusal("Too many open windows: close one.", status=BUSY)
    stream = house.live.messages(address, lambda: event_text("changed", house.versions))
    return StreamingResponse(stream, media_type="text/event-stream")


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


async def _pack(request: Request, house: House) -> Response:
    path = await _in_turn(
        request,
        house,
        orders.RunBody,
        lambda _, body: carrying.pack_zip(house, body.run, body.rank),
    )
    house.packs[path.name] = path
    return JSONResponse({"file": quote(path.name)})


async def _pack_file(request: Request, house: House) -> Response:
    path = house.packs.get(request.path_params["name"])
    if path is None or not path.is_file():
        return refusal("That pack is not there any more: make it again.", status=NOT_FOUND)
    told = f"attachment; filename*=UTF-8''{quote(path.name)}"
    return FileResponse(path, media_type="application/zip", headers={"content-disposition": told})


async def _qr(_: Request, house: House) -> Response:
    if house.poll_host is None:
        return refusal("No vote is on.", status=NOT_FOUND)
    return Response(house.poll_host.qr_svg(), media_type="image/svg+xml")


async def _script(request: Request, _: House) -> Response:
    text = script_text(request.path_params["name"])
    if text is None:
        return refusal("There is no such script.", status=NOT_FOUND)
    return Response(text, media_type="text/javascript")


async def _style(_: Request, __: House) -> Response:
    return Response(style_text(), media_type="text/css")


async def _drop_song(request: Request, house: House) -> Response:
    name = request.query_params.get("name", "")
    place = carrying.sound_place(house, "", name)
    await _received(request, place, name)
    house.tell("songs")
    return JSONResponse({"name": house.folder.name_of(place)})


async def _drop_take(request: Request, house: House) -> Response:
    asked = request.query_params
    run, name = asked.get("run", ""), asked.get("name", "")
    place = carrying.place_for_take(house, run, name)
    await _received(request, place, name)
    told = await asyncio.to_thread(carrying.reviewed, house, run, place)
    return HTMLResponse(await asyncio.to_thread(review_html, told))


async def _received(request: Request, place: Path, name: str) -> None:
    """A file that is dropped in, laid in its place once it is all there and is sound."""
    place.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(
        prefix=carrying.PART_MARK, suffix=place.suffix, dir=place.parent, delete=False
    ) as file:
        part = Path(file.name)
        try:
            n_bytes = 0
            async for chunk in request.stream():
                n_bytes += len(chunk)
                carrying.refuse_too_large(n_bytes)
                await asyncio.to_thread(file.write, chunk)
            file.flush()
            await asyncio.to_thread(carrying.check_sound, part, name)
            part.chmod(0o644)
            # another file may have taken the place meanwhile: a link is refused then, not replaced
            place.hardlink_to(part)
        except FileExistsError as error:
            raise RequestRefusalError(
                "A file of that name came in: drop it again.", status=BUSY
            ) from error
        except OSError as error:
            told = f"It could not be written ({error.strerror}): make room."
            raise RequestRefusalError(told, status=INVALID) from error
        finally:
            part.unlink(missing_ok=True)


async def _in_turn(
    request: Request, house: House, kind: type[Body], act: Callable[[House, Body], Done]
) -> Done:
    """What comes of an order that wants the folder, or the songs in memory: one at a time."""
    body = await body_of(request, kind, house.clients.limits)
    async with house.writing:
        return await asyncio.to_thread(act, house, body)


async def _say(request: Request, house: House) -> Response:
    await _in_turn(request, house, orders.SayBody, orders.say)
    return JSONResponse({})


async def _make(request: Request, house: House) -> Response:
    making = await _in_turn(request, house, orders.MakeBody, orders.order)
    return JSONResponse({"number": making.number, "run": making.run})


async def _choose(request: Request, house: House) -> Response:
    await _in_turn(
        request,
        house,
        orders.ChooseBody,
        lambda _, body: carrying.choose(house, body.run, body.rank, body.why.strip()),
    )
    house.tell("making")
    return JSONResponse({})


async def _change(request: Request, house: House) -> Response:
    label = await _in_turn(request, house, shaped.ChangeBody, shaped.shape)
    return JSONResponse({"label": label})


async def _draft(request: Request, house: House) -> Response:
    sound, starts_s = await _in_turn(request, house, shaped.ChangeBody, shaped.rough)
    headers = {"x-starts-s": f"{starts_s:.4f}"}
    return Response(sound, media_type=SOUND_TYPES[".flac"], headers=headers)


async def _undo(request: Request, house: House) -> Response:
    return await _stepped(request, house, shaped.take_back)


async def _redo(request: Request, house: House) -> Response:
    return await _stepped(request, house, shaped.bring_back)


async def _stepped(request: Request, house: House, step: Callable[[House, str], str]) -> Response:
    label = await _in_turn(request, house, orders.RunBody, lambda _, body: step(house, body.run))
    return JSONResponse({"label": label})


async def _vote(request: Request, house: House) -> Response:
    body = await body_of(request, orders.RunBody, house.clients.limits)
    folder = house.folder.inside(body.run)
    async with house.writing:
        if house.poll_host is not None:
            await asyncio.to_thread(house.poll_host.stop)
        house.poll_host = await asyncio.to_thread(
            lambda: host_poll(
                folder, body.run, is_blind=body.blind, on_chosen=lambda: house.tell("making")
            )
        )
    house.tell("making")
    return JSONResponse({})


async def _stop_vote(_: Request, house: House) -> Response:
    async with house.writing:
        if house.poll_host is not None:
            await asyncio.to_thread(house.poll_host.stop)
            house.poll_host = None
    house.tell("making")
    return JSONResponse({})


async def _reorder(request: Request, house: House) -> Response:
    await _in_turn(request, house, evening_desk.OrderBody, evening_desk.reorder)
    return JSONResponse({})


async def _new_set(request: Request, house: House) -> Response:
    name = await _in_turn(request, house, evening_desk.NewSetBody, evening_desk.new_set)
    return JSONResponse({"set": name})


async def _make_evening(request: Request, house: House) -> Response:
    body = await body_of(request, evening_desk.SetBody, house.clients.limits)
    await asyncio.to_thread(evening_desk.order_evening, house, body)
    return JSONResponse({})


def _file(path: Path | None) -> Response:
    if path is None or not path.is_file() or path.is_symlink():
        return refusal("There is no such sound.", status=NOT_FOUND)
    return FileResponse(path, media_type=SOUND_TYPES.get(path.suffix, "audio/wav"))
