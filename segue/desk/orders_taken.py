"""What the page wants done, one at a time: folder and songs in memory have one writer.

Songs and takes that are dropped onto it are whole and checked, or not there at all.
"""

from __future__ import annotations

import asyncio
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar
from urllib.parse import quote

from starlette.responses import HTMLResponse, JSONResponse, Response

from segue.api import changing
from segue.audition.limits import RequestRefusalError
from segue.audition.messages import body_of
from segue.audition.page import ToVoteOn, page_view
from segue.desk import carrying, evening_changes, evening_desk, option_changes, orders
from segue.desk.carrying import host_vote
from segue.desk.desk_pages import SOUND_TYPES, Answering, review_html
from segue.desk.house import TAKES, House
from segue.errors import SegueError
from segue.runfolder import read_document
from segue.setlist.show.evening_page import evening_votes

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from segue.api.main_job import Option
    from segue.desk.sketcher import RoughSound


Body = TypeVar("Body")
Done = TypeVar("Done")


async def _in_turn(
    request: Request, house: House, kind: type[Body], act: Callable[[House, Body], Done]
) -> Done:
    """What comes of an order that wants the folder, or the songs in memory: one at a time."""
    body = await body_of(request, kind, house.clients.limits)
    async with house.writing:
        return await asyncio.to_thread(act, house, body)


def _ordered(
    kind: type[Body],
    act: Callable[[House, Body], Done],
    told: Callable[[Done], dict[str, object]] = lambda _: {},
) -> Answering:
    """What answers an order that is done in its turn, and what it tells of what came of it."""

    async def answered(request: Request, house: House) -> Response:
        return JSONResponse(told(await _in_turn(request, house, kind, act)))

    return answered


def _stepped(step: Callable[[Path], Option]) -> Answering:
    """What answers an order to go back or forth by a version of a run."""
    return _ordered(
        orders.RunBody,
        lambda house, body: step(house.folder.inside(body.run)),
        lambda version: {"label": version.label},
    )


async def _change(request: Request, house: House) -> Response:
    body = await body_of(request, option_changes.ChangeBody, house.clients.limits)
    # a process makes it, and nobody waits for it but its page
    made = option_changes.shape(house, body)
    return JSONResponse({"label": await asyncio.shield(asyncio.wrap_future(made))})


async def _draft(request: Request, house: House) -> Response:
    body = await body_of(request, option_changes.ChangeBody, house.clients.limits)
    return _rough_sound(await asyncio.to_thread(option_changes.drafted, house, body))


async def _rough(request: Request, house: House) -> Response:
    body = await body_of(request, orders.MakeBody, house.clients.limits)
    return _rough_sound(await asyncio.to_thread(orders.rough, house, body))


def _rough_sound(made: RoughSound) -> Response:
    headers = {
        "x-exit-s": f"{made.exit_s:.4f}",
        "x-entry-s": f"{made.entry_s:.4f}",
        "x-name": quote(made.name),
    }
    return Response(made.sound, media_type=SOUND_TYPES[".flac"], headers=headers)


async def _vote(request: Request, house: House) -> Response:
    body = await body_of(request, orders.RunBody, house.clients.limits)
    folder = house.folder.inside(body.run)

    def voted() -> ToVoteOn:
        document = read_document(folder)
        view = page_view(folder, document, is_blind=body.blind, wants_anchor=False)
        return ToVoteOn(folder=folder, runs=((folder, view),))

    return await _open_vote(house, body.run, voted)


async def _vote_on_evening(request: Request, house: House) -> Response:
    body = await body_of(request, evening_desk.EveningVoteBody, house.clients.limits)
    out = evening_desk.evening_folder(house, body.set)
    return await _open_vote(house, body.set, lambda: evening_votes(out, is_blind=body.blind))


async def _open_vote(house: House, on: str, voted: Callable[[], ToVoteOn]) -> Response:
    """One vote at a time: the one before is ended."""

    def shown(folder: Path) -> None:
        with suppress(SegueError):  # the choice is kept, whatever becomes of the page
            carrying.tell_choice(house, folder)

    async with house.writing:
        before, house.poll_host = house.poll_host, None
        if before is not None:
            await asyncio.to_thread(before.stop)
        try:
            house.poll_host = await asyncio.to_thread(lambda: host_vote(voted(), on, shown))
        finally:
            _tell_of_vote(house)
    return JSONResponse({})


def _tell_of_vote(house: House) -> None:
    house.tell("making")
    house.tell("evening")


async def _stop_vote(_: Request, house: House) -> Response:
    async with house.writing:
        if house.poll_host is not None:
            await asyncio.to_thread(house.poll_host.stop)
            house.poll_host = None
    _tell_of_vote(house)
    return JSONResponse({})


async def _make_evening(request: Request, house: House) -> Response:
    body = await body_of(request, evening_desk.SetBody, house.clients.limits)
    await asyncio.to_thread(evening_desk.order_evening, house, body)
    return JSONResponse({})


ORDERS: Final[dict[str, Answering]] = {
    "/say": _ordered(orders.SayBody, orders.say),
    "/pace": _ordered(orders.PaceBody, orders.keep_pace),
    "/rough": _rough,
    "/make": _ordered(
        orders.MakeBody, orders.order, lambda made: {"number": made.number, "run": made.run}
    ),
    "/choose": _ordered(orders.ChooseBody, carrying.choose),
    "/change": _change,
    "/draft": _draft,
    "/recipe": _ordered(
        option_changes.RecipeBody, option_changes.keep_recipe, lambda name: {"name": name}
    ),
    "/undo": _stepped(changing.undo),
    "/redo": _stepped(changing.redo),
    "/pack": _ordered(orders.RunBody, carrying.pack_zip, lambda path: {"file": quote(path.name)}),
    "/vote": _vote,
    "/vote/stop": _stop_vote,
    "/evening/order": _ordered(evening_changes.OrderBody, evening_changes.reorder),
    "/evening/new": _ordered(
        evening_changes.NewSetBody, evening_changes.new_set, lambda name: {"set": name}
    ),
    "/evening/add": _ordered(evening_changes.AddBody, evening_changes.add_song),
    "/evening/say": _ordered(evening_changes.FieldBody, evening_changes.say_of_set),
    "/evening/vote": _vote_on_evening,
    "/evening/make": _make_evening,
}
"""Addresses and what answers them."""


_INVALID, _BUSY = 422, 429  # status codes of HTTP (RFC 9110, RFC 6585)


async def _drop_song(request: Request, house: House) -> Response:
    name = request.query_params.get("name", "")
    place = carrying.sound_place(house, "", name)
    await _received(request, place, name)
    house.tell("songs")
    return JSONResponse({"name": house.folder.name_of(place)})


async def _drop_take(request: Request, house: House) -> Response:
    asked = request.query_params
    run, name = asked.get("run", ""), asked.get("name", "")
    place = carrying.sound_place(house, f"{TAKES}/{house.folder.inside(run).name}", name)
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
                "A file of that name came in: drop it again.", status=_BUSY
            ) from error
        except OSError as error:
            told = f"It could not be written ({error.strerror}): make room."
            raise RequestRefusalError(told, status=_INVALID) from error
        finally:
            part.unlink(missing_ok=True)


DROPS: Final = {"/songs": _drop_song, "/take": _drop_take}
"""Addresses and what answers them."""
