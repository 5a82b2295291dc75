"""What the page wants done, one at a time: folder and songs in memory have one writer."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final, TypeVar
from urllib.parse import quote

from starlette.responses import JSONResponse, Response

from segue.audition.bodies import body_of
from segue.desk import carrying, evening_desk, orders, shaped
from segue.desk.desk_sounds import SOUND_TYPES
from segue.desk.poll_host import host_poll

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from segue.desk.house import House
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


ORDERS: Final = {
    "/say": _say,
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
    "/evening/make": _make_evening,
}
"""Addresses and what answers them."""
