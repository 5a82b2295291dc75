"""Songs and takes that are dropped onto the page: whole, checked, or not there at all."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.responses import HTMLResponse, JSONResponse, Response

from segue.audition.limits import RequestRefusalError
from segue.desk import carrying
from segue.desk.desk_pages import review_html

if TYPE_CHECKING:
    from starlette.requests import Request

    from segue.desk.house import House

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
                "A file of that name came in: drop it again.", status=_BUSY
            ) from error
        except OSError as error:
            told = f"It could not be written ({error.strerror}): make room."
            raise RequestRefusalError(told, status=_INVALID) from error
        finally:
            part.unlink(missing_ok=True)


DROPS: Final = {"/songs": _drop_song, "/take": _drop_take}
"""Addresses and what answers them."""
