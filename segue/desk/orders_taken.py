"""What the page wants done, one at a time: folder and songs in memory have one writer."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING, Final, TypeVar
from urllib.parse import quote

from starlette.responses import JSONResponse, Response

from segue.audition.bodies import body_of
from segue.desk import carrying, evening_changes, evening_desk, orders, shaped, talk_pace
from segue.desk.desk_sounds import SOUND_TYPES
from segue.desk.poll_host import host_evening, host_poll
from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from starlette.requests import Request

    from segue.desk.house import House
    from segue.desk.poll_host import PollHost
    from segue.desk.rough_option import RoughSound

Body = TypeVar("Body")
Done = TypeVar("Done")


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


async def _pace(request: Request, house: House) -> Response:
    await _in_turn(request, house, talk_pace.PaceBody, talk_pace.keep_pace)
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
    return JSONResponse({})


async def _change(request: Request, house: House) -> Response:
    body = await body_of(request, shaped.ChangeBody, house.clients.limits)
    made = shaped.shape(house, body)  # a process makes it, and nobody waits for it but its page
    return JSONResponse({"label": await asyncio.shield(asyncio.wrap_future(made))})


async def _draft(request: Request, house: House) -> Response:
    body = await body_of(request, shaped.ChangeBody, house.clients.limits)
    return _rough_sound(await asyncio.to_thread(shaped.drafted, house, body))


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


async def _keep_recipe(request: Request, house: House) -> Response:
    name = await _in_turn(request, house, shaped.RecipeBody, shaped.keep_recipe)
    return JSONResponse({"name": name})


async def _undo(request: Request, house: House) -> Response:
    return await _stepped(request, house, shaped.take_back)


async def _redo(request: Request, house: House) -> Response:
    return await _stepped(request, house, shaped.bring_back)


async def _stepped(request: Request, house: House, step: Callable[[House, str], str]) -> Response:
    label = await _in_turn(request, house, orders.RunBody, lambda _, body: step(house, body.run))
    return JSONResponse({"label": label})


async def _pack(request: Request, house: House) -> Response:
    path = await _in_turn(
        request,
        house,
        orders.RunBody,
        lambda _, body: carrying.pack_zip(house, body.run, body.rank),
    )
    house.packs[path.name] = path
    return JSONResponse({"file": quote(path.name)})


async def _vote(request: Request, house: House) -> Response:
    body = await body_of(request, orders.RunBody, house.clients.limits)
    folder = house.folder.inside(body.run)
    return await _open_vote(
        house, lambda: host_poll(folder, body.run, is_blind=body.blind, on_chosen=_shown(house))
    )


async def _vote_on_evening(request: Request, house: House) -> Response:
    body = await body_of(request, evening_desk.EveningVoteBody, house.clients.limits)
    out = evening_desk.evening_folder(house, body.set)
    return await _open_vote(
        house, lambda: host_evening(out, body.set, is_blind=body.blind, on_chosen=_shown(house))
    )


def _shown(house: House) -> Callable[[Path], None]:
    """What is done when a vote was closed: the choice is kept, whatever becomes of the page."""

    def shown(folder: Path) -> None:
        with suppress(SegueError):
            carrying.show_choice(house, folder)

    return shown


async def _open_vote(house: House, opened: Callable[[], PollHost]) -> Response:
    """One vote at a time: the one before is ended."""
    async with house.writing:
        before, house.poll_host = house.poll_host, None
        if before is not None:
            await asyncio.to_thread(before.stop)
        try:
            house.poll_host = await asyncio.to_thread(opened)
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


async def _reorder(request: Request, house: House) -> Response:
    await _in_turn(request, house, evening_changes.OrderBody, evening_changes.reorder)
    return JSONResponse({})


async def _add_song(request: Request, house: House) -> Response:
    await _in_turn(request, house, evening_changes.AddBody, evening_changes.add_song)
    return JSONResponse({})


async def _say_of_set(request: Request, house: House) -> Response:
    await _in_turn(request, house, evening_changes.FieldBody, evening_changes.say_of_set)
    return JSONResponse({})


async def _new_set(request: Request, house: House) -> Response:
    name = await _in_turn(request, house, evening_changes.NewSetBody, evening_changes.new_set)
    return JSONResponse({"set": name})


async def _make_evening(request: Request, house: House) -> Response:
    body = await body_of(request, evening_desk.SetBody, house.clients.limits)
    await asyncio.to_thread(evening_desk.order_evening, house, body)
    return JSONResponse({})


ORDERS: Final = {
    "/say": _say,
    "/pace": _pace,
    "/rough": _rough,
    "/make": _make,
    "/choose": _choose,
    "/change": _change,
    "/draft": _draft,
    "/recipe": _keep_recipe,
    "/undo": _undo,
    "/redo": _redo,
    "/pack": _pack,
    "/vote": _vote,
    "/vote/stop": _stop_vote,
    "/evening/order": _reorder,
    "/evening/new": _new_set,
    "/evening/add": _add_song,
    "/evening/say": _say_of_set,
    "/evening/vote": _vote_on_evening,
    "/evening/make": _make_evening,
}
"""Addresses and what answers them."""
