"""The page of the desk and its parts, filled with what the house knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from segue.audition.limits import RequestRefusalError
from segue.catalogue.filling import title_at
from segue.desk.end_view import METRES, EndView, script_values
from segue.desk.evening_desk import evening_view, set_names
from segue.desk.maker import OrderedRun, SetOrder
from segue.desk.orders import FASTEST_PACE, SLOWEST_PACE, USUAL_PACE, pair_name, words_a_minute
from segue.desk.run_view import chord_choices, earlier_runs, layers_of, run_view, tempo_way
from segue.errors import InputError, SegueError
from segue.music.tempo import clock
from segue.pages import filled, joined
from segue.recipes.changed_recipe import PAD_SOUNDS
from segue.review.timing import JUST_NOTICED_MS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from segue.desk.carrying import ReviewedTake
    from segue.desk.house import House

STYLES: Final = ("shared.css", "desk.css")
SCRIPTS: Final = (
    "desk.js", "desk_net.js", "desk_sound.js", "desk_ends.js", "desk_options.js", "desk_shape.js",
    "desk_evening.js",
)  # fmt: skip
"""Plain modules, each by its own name."""
BRIDGE_BARS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
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


def page_html(house: House, names: Mapping[str, str]) -> str:
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
            "songs_part": _part(songs_html(house, names)),
            "ends_part": _part(_or_problem(lambda: ends_html(house, names))),
            "options_part": _part(_or_problem(lambda: options_html(house, names))),
            "evening_part": _part(_or_problem(lambda: evening_html(house, names))),
            "bridge_bars": BRIDGE_BARS,
            "purposes": PURPOSES,
            "pace": pace,
            "pace_problem": pace_problem,
            "paces": (SLOWEST_PACE, FASTEST_PACE),
            "scripts": SCRIPTS,
        },
    )


def songs_html(house: House, names: Mapping[str, str]) -> str:
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


def ends_html(house: House, names: Mapping[str, str]) -> str:
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


def options_html(house: House, names: Mapping[str, str]) -> str:
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
        "bridge_bars": BRIDGE_BARS,
    }
    return filled("desk_options.html", values | shaping)


def evening_html(house: House, names: Mapping[str, str]) -> str:
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


def script_text(name: str) -> str | None:
    """One of the page's scripts; None for any other name."""
    before = ("player.js",) if name == "desk_sound.js" else ()
    return joined((*before, name)) if name in SCRIPTS else None


def style_text() -> str:
    """The page's style sheets."""
    return joined(STYLES)


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
