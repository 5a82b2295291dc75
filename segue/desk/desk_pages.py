"""What the page asks for: itself and its parts, sounds, pictures and packs.

The page and its parts are filled with what the house knows.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response

from segue.audition.limits import RequestRefusalError, refusal
from segue.audition.messages import event_text, stream_of
from segue.audition.serve import qr_svg
from segue.catalogue.filling import title_at
from segue.desk.end_view import METRES, EndView, script_values
from segue.desk.evening_desk import evening_view, set_names
from segue.desk.house import TAKES, House
from segue.desk.maker import OrderedRun, SetOrder
from segue.desk.orders import FASTEST_PACE, SLOWEST_PACE, USUAL_PACE, pair_name, words_a_minute
from segue.desk.own_folder import NOT_FOUND
from segue.desk.run_view import chord_choices, earlier_runs, layers_of, run_view, tempo_way
from segue.errors import InputError, SegueError
from segue.music.tempo import clock
from segue.pages import filled, joined
from segue.recipes.changed_recipe import PAD_SOUNDS
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.carrying import ReviewedTake


Answering = Callable[[Request, House], Awaitable[Response]]
"""What answers a request, by what the house knows."""

STYLES: Final = ("shared.css", "desk.css")
SCRIPTS: Final = (
    "desk.js", "desk_net.js", "desk_sound.js", "desk_ends.js", "desk_options.js", "desk_shape.js",
    "desk_evening.js",
)  # fmt: skip
"""Plain modules, each by its own name."""
_BRIDGE_BARS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
"""Bars of the bridge that are offered."""
PURPOSES: Final = {
    "": "whatever suits",
    "talk": "talking",
    "lift": "a lift",
    "calm": "calm",
    "dance": "dancing",
}

NAMES: Final = ("old", "new", "run", "set")
"""What can be picked: two songs, a run of them, a set."""


def _part(html: str) -> Markup:
    return Markup(html)  # noqa: S704 - filled from a template, which has escaped every value


def _page_html(house: House, names: Mapping[str, str]) -> str:
    """The whole page.

    Parameters
    ----------
    names : mapping of str to str
        What is picked, by `NAMES`; empty for none.
    """
    pace, pace_problem = USUAL_PACE, ""
    try:
        pace = words_a_minute(house)
    except InputError as error:
        pace_problem = error.problem
    return filled(
        "desk.html",
        {
            "folder": house.folder.root.name,
            "names": dict(names),
            "songs_part": _part(_songs_html(house, names)),
            "ends_part": _part(_or_problem(lambda: _ends_html(house, names))),
            "options_part": _part(_or_problem(lambda: _options_html(house, names))),
            "evening_part": _part(_or_problem(lambda: _evening_html(house, names))),
            "bridge_bars": _BRIDGE_BARS,
            "purposes": PURPOSES,
            "pace": pace,
            "pace_problem": pace_problem,
            "paces": (SLOWEST_PACE, FASTEST_PACE),
            "scripts": SCRIPTS,
        },
    )


def _songs_html(house: House, names: Mapping[str, str]) -> str:
    """The list of songs."""
    rows = house.rows()
    return filled(
        "desk_songs.html",
        {
            "rows": rows,
            "old": names["old"],
            "new": names["new"],
            "n_unheard": sum(not row.is_heard for row in rows),
        },
    )


def _ends_html(house: House, names: Mapping[str, str]) -> str:
    """The two ends."""
    old, new = names["old"], names["new"]
    picked = {"end": old, "start": new}
    views = [
        {
            "view": view,
            "song": picked[view.facts.edge if isinstance(view, EndView) else view.edge],
            "is_heard": isinstance(view, EndView),
            "values": script_values(view) if isinstance(view, EndView) else None,
        }
        for view in house.ends(old, new)
    ]
    values = {"ends": views, "metres": METRES, "old": old, "new": new}
    return filled("desk_ends.html", values | {"has_songs": house.has_songs})


def _options_html(house: House, names: Mapping[str, str]) -> str:
    """The options of a run, or how far it has got."""
    run, old, new = names["run"], names["old"], names["new"]
    earlier: tuple[str, ...] = ()
    if old and new:
        earlier = earlier_runs(house, pair_name(house, old, new))
    making = house.maker.latest(lambda m: m.run == run) if run else _latest(house, old, new)
    name = run or (making.run if making is not None else "")
    if making is not None and making.state != "made":
        return filled("desk_making.html", {"making": making, "earlier": earlier})
    view = run_view(house, name) if name else None
    values = {"view": view, "earlier": earlier, "vote": house.poll_host, "is_pair": old and new}
    shaping = {
        "layers_of": layers_of,
        "tempo_way": tempo_way,
        "chord_choices": chord_choices,
        "pads": PAD_SOUNDS,
        "bridge_bars": _BRIDGE_BARS,
    }
    return filled("desk_options.html", values | shaping)


def _evening_html(house: House, names: Mapping[str, str]) -> str:
    """The evening, or which sets there are."""
    name = names["set"]
    view = evening_view(house, name) if name else None
    others: list[tuple[str, str]] = []
    if view is not None:
        songs = ((house.folder.name_of(song.path), title_at(song)) for song in house.songs())
        others = [(song, title) for song, title in songs if song not in view.song_names]
    values = {
        "view": view,
        "sets": set_names(house),
        "clock": clock,
        "others": others,
        "vote": house.poll_host,
        "has_songs": bool(view) or house.has_songs,
    }
    return filled("desk_evening.html", values)


def review_html(told: ReviewedTake) -> str:
    """What a take came to."""
    values = {
        "told": told,
        "take": told.review.take,
        "tries": told.review.tries,
        "best": told.review.best,
        "near_ms": round(JUST_NOTICED_MS),
    }
    return filled("desk_review.html", values | {"review": told.review.best_try})


def _script_text(name: str) -> str | None:
    """One of the page's scripts; None for any other name."""
    before = ("player.js",) if name == "desk_sound.js" else ()
    return joined((*before, name)) if name in SCRIPTS else None


def _latest(house: House, old: str, new: str) -> OrderedRun | None:
    """The latest order for two songs."""
    if not (old and new):
        return None
    pair = (house.song(old).path, house.song(new).path)
    return house.maker.latest(
        lambda m: (
            not isinstance(m.request, SetOrder) and (m.request.outgoing, m.request.incoming) == pair
        )
    )


def _or_problem(made: Callable[[], str]) -> str:
    """A part of the page, or why there is none: the rest of it still opens."""
    try:
        return made()
    except (SegueError, RequestRefusalError) as error:
        return filled("desk_problem.html", {"problem": str(error)})


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
    text = _script_text(request.path_params["name"])
    if text is None:
        return refusal("There is no such script.", status=NOT_FOUND)
    return Response(text, media_type="text/javascript")


async def _style(_: Request, __: House) -> Response:
    return Response(joined(STYLES), media_type="text/css")


PARTS: Final[dict[str, Answering]] = {
    "/": _html(_page_html),
    "/songs": _html(_songs_html),
    "/ends": _html(_ends_html),
    "/options": _html(_options_html),
    "/versions": _versions,
    "/evening": _html(_evening_html),
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
