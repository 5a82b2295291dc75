"""The drawing of an evening as a picture file, to send round or to print."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from segue.files.whole_file import write_whole
from segue.pages.colours import page_colours
from segue.runfolder.pictures import plain_words
from segue.setlist.lengths import clock
from segue.setlist.show.evening_drawing import Box, Label, Stroke, evening_drawing, gap_look

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.setlist.show.evening_drawing import EveningDrawing
    from segue.setlist.show.rows import EveningRows

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
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle

    drawing = evening_drawing(rows, "file")
    left, right = -_MARGIN_PX, drawing.width + _MARGIN_PX
    top, bottom = -_TITLE_ROOM_PX - _MARGIN_PX, drawing.height + _LEGEND_ROOM_PX
    figure = Figure(figsize=((right - left) / 100, (bottom - top) / 100), dpi=_DOTS_AN_INCH)
    FigureCanvasAgg(figure)
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
    content = io.BytesIO()
    figure.savefig(content, format="png", metadata={"Software": None})
    write_whole(path, content.getvalue())


def _legend(rows: EveningRows, drawing: EveningDrawing) -> Iterator[Box | Label]:
    """The name of the evening above; below it what the boxes between the songs are."""
    yield Label(x=0.0, y=-16.0, words=rows.title, look="title")
    x, y = 64.0, drawing.height + 14.0
    looks = {gap_look(join) for join in rows.joins}
    for look, words in (("join", "segue"), ("free", "stop, talk, changeover")):
        if look in looks:
            yield Box(look=look, x=x, y=y - 10, width=18.0, height=12.0)
            yield Label(x=x + 24, y=y, words=words, look="soft")
            x += 24 + (len(words) + 4) * _LETTER_PX
    if rows.slot_s is not None:
        words = f"the line at {clock(rows.slot_s)} is the end of the slot"
        yield Label(x=x, y=y, words=words, look="soft")
