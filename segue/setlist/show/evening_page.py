"""The evening's page and its picture, beside the run folders of its joins; and what is voted on."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any, Final

from segue.audition.page import PAGE_NAME, ToVoteOn, page_view
from segue.errors import RunFolderError, disk_faults
from segue.files.whole_file import write_whole
from segue.music.tempo import clock
from segue.pages import filled, page_colours
from segue.plan.heard_words import NO_KEY, keys_sentence
from segue.runfolder.pictures import new_figure, plain_words, png_of
from segue.setlist.set_document import read_evening
from segue.setlist.show.evening_drawing import (
    Box,
    EveningDrawing,
    Label,
    Stroke,
    evening_drawing,
    gap_look,
)
from segue.setlist.show.evening_pack import SHEETS_NAME, front_page, places_of, sheets_of
from segue.setlist.show.rows import EveningRows, JoinRow, capital, free_times, rows_of
from segue.stage.sheet_pages import sheets_html

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.runfolder import RunDocument
    from segue.setlist.evening import Evening


EVENING_PAGE_NAME: Final = "index.html"


def write_evening_page(folder: Path, evening: Evening) -> Path:
    """Write the page of an evening, its picture and its cue sheets into its folder.

    Parameters
    ----------
    folder : Path
        Holds the run folders that the evening names.

    Raises
    ------
    OSError
        If a file cannot be written; each appears whole or not at all.
    """
    rows = rows_of(evening)
    sheets = sheets_html(sheets_of(rows, where=places_of(evening)), front=front_page(rows))
    page = folder / EVENING_PAGE_NAME
    write_evening_picture(folder / PICTURE_NAME, rows)
    write_whole(folder / SHEETS_NAME, sheets.encode())
    write_whole(page, evening_page_text(folder, rows).encode())
    return page


def rewrite_evening_page(folder: Path) -> Path:
    """Write the page anew, with what the band has chosen since.

    Parameters
    ----------
    folder : Path
        As ``segue set`` left it.

    Raises
    ------
    RunFolderError
        If the evening cannot be read, or the page not written.
    """
    with disk_faults(folder, "could not be written ({}): make room.", RunFolderError):
        return write_evening_page(folder, read_evening(folder))


def evening_page_text(folder: Path, rows: EveningRows) -> str:
    """The page as HTML text; see `write_evening_page`."""
    made = [row.join.number for row in rows.joins if row.record is not None]
    name = folder.resolve().name  # the page is the same wherever the evening was made
    values = {
        "styles": ("shared.css", "evening.css"),
        "scripts": ("evening.js",),
        "evening": rows,
        "joins": [(row, _about(row)) for row in rows.joins],
        "picture": evening_drawing(rows, "broad"),
        "picture_name": PICTURE_NAME,
        "page_name": PAGE_NAME,
        "sheets_name": SHEETS_NAME,
        "sheet_numbers": {number: sheet for sheet, number in enumerate(made, start=1)},
        "clock": clock,
        "no_key": NO_KEY,
        "state_of": _state,
        "voting": shlex.join(["segue", "audition", name, "--serve"]),
        "staging": shlex.join(["segue", "stage", name, "--out", "FOLDER"]),
    }
    return filled("evening.html", values)


def _about(row: JoinRow) -> str:
    """How the songs of a segue that is made lie to each other, and what happens between them."""
    if row.document is None:
        return ""
    keys = keys_sentence(row.document.outgoing, row.document.incoming)
    free = "; ".join(f"{name} {seconds:.0f} s" for name, seconds in free_times(row.join))
    tempo = "" if row.join.tempo_ratio is None else row.steps[-1]
    return ". ".join(capital(part) for part in (keys, tempo, free) if part)


def _state(document: RunDocument) -> str:
    choice = document.choice
    if choice is None:
        return "Not chosen yet: the best marked one counts."
    names = {r.rank: f"{r.label}, {r.plan.recipe}" for r in document.candidates}
    why = f" ({choice.why})" if choice.why else ""
    return f"Chosen: {names.get(choice.rank, 'an option that is gone')}{why}."


def evening_votes(evening: Path, *, is_blind: bool, wants_anchor: bool = False) -> ToVoteOn:
    """Every segue of an evening that is made, to be voted on in order.

    Raises
    ------
    SegueError
        If the evening cannot be read, or nothing of it is made yet.
    """
    told = read_evening(evening)
    runs = tuple(
        (folder, page_view(folder, join.document, is_blind=is_blind, wants_anchor=wants_anchor))
        for join in told.joins
        if join.document is not None
        for folder in [evening / join.folder]
    )
    if not runs:
        raise RunFolderError(evening, "has no segues to vote on yet: make them first.")
    return ToVoteOn(folder=evening, runs=runs, title=told.title)


PICTURE_NAME: Final = "evening.png"

_DOTS_AN_INCH: Final = 144  # 1320 by 825 dots in all
_POINTS_A_PX: Final = 0.72
"""100 pixels of the drawing to an inch."""
_TYPE_PX, _TITLE_PX = 12.0, 17.0  # heights of small type and of the title
_LETTER_PX: Final = 7.0  # a letter's usual width in small type; by judgement
_MARGIN_PX: Final = 14.0  # around the picture; by judgement
_TITLE_ROOM_PX, _LEGEND_ROOM_PX = 34.0, 26.0
"""Above and below the drawing."""


_WORDS: Final[dict[str, dict[str, Any]]] = {
    "": {"color": "black"},
    "soft": {"color": "#444444"},
    "title": {"color": "black", "fontweight": "bold", "fontsize": _TITLE_PX * _POINTS_A_PX},
}


def _looks() -> dict[str, dict[str, Any]]:
    """How each shape of the drawing looks, in the colours of the pages."""
    colours = page_colours()
    segue, ink = colours["between"], colours["ink"]
    return {
        "lane": {"facecolor": colours["lane"]},
        "song": {"facecolor": colours["song"]},
        "join": {"facecolor": colours["between-band"], "edgecolor": segue},
        "free": {"facecolor": "none", "edgecolor": colours["edge"], "linestyle": "--"},
        "energy": {"facecolor": colours["edge"]},
        "tempo": {"color": ink, "linewidth": 2.0},
        "tempo moves": {"color": segue, "linewidth": 1.5, "linestyle": "--"},
        "slot": {"color": colours["weak"], "linewidth": 1.5, "linestyle": "--"},
    }


@plain_words()
def write_evening_picture(path: Path, rows: EveningRows) -> None:
    """Draw an evening into a PNG file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle

    drawing = evening_drawing(rows, "file")
    left, right = -_MARGIN_PX, drawing.width + _MARGIN_PX
    top, bottom = -_TITLE_ROOM_PX - _MARGIN_PX, drawing.height + _LEGEND_ROOM_PX
    figure = new_figure(((right - left) / 100, (bottom - top) / 100), _DOTS_AN_INCH)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    looks = _looks()
    for order, shape in enumerate((*drawing.shapes, *_legend(rows, drawing))):
        match shape:
            case Box():
                corner, look = (shape.x, shape.y), looks[shape.look]
                axes.add_patch(Rectangle(corner, shape.width, shape.height, zorder=order, **look))
            case Stroke():
                xs, ys = (shape.x0, shape.x1), (shape.y0, shape.y1)
                axes.add_line(Line2D(xs, ys, zorder=order, **looks[shape.look]))
            case Label():
                size = {"fontsize": _TYPE_PX * _POINTS_A_PX, **_WORDS[shape.look]}
                axes.text(shape.x, shape.y, shape.words, zorder=order, **size)
    write_whole(path, png_of(figure))


def _legend(rows: EveningRows, drawing: EveningDrawing) -> Iterator[Box | Label]:
    """The name of the evening above; below it what the boxes between the songs are."""
    yield Label(x=0.0, y=-16.0, words=rows.evening.title, look="title")
    x, y = 64.0, drawing.height + 14.0
    looks = {gap_look(row) for row in rows.joins}
    for look, words in (("join", "segue"), ("free", "stop, talk, changeover")):
        if look in looks:
            yield Box(look=look, x=x, y=y - 10, width=18.0, height=12.0)
            yield Label(x=x + 24, y=y, words=words, look="soft")
            x += 24 + (len(words) + 4) * _LETTER_PX
    if rows.evening.slot_s is not None:
        words = f"the line at {clock(rows.evening.slot_s)} is the end of the slot"
        yield Label(x=x, y=y, words=words, look="soft")
