"""Cue sheets on paper: an HTML page that prints one sheet a page, and a PDF of the same.

The PDF is drawn with matplotlib, which is here for the pictures.
"""

from __future__ import annotations

import io
import math
import textwrap
from typing import TYPE_CHECKING, Final, Literal

from segue.pages import filled
from segue.runfolder.pictures import plain_words
from segue.stage.in_evening import HEADINGS
from segue.stage.staff import clef_path, smooth_points

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from segue.stage.cue_sheet import CueSheet
    from segue.stage.in_evening import FrontPage
    from segue.stage.staff import StaffNote

Paper = Literal["a4", "letter"]

PAPER_INCHES: Final[dict[Paper, tuple[float, float]]] = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
_MARGIN: Final = 0.6
_POINTS_AN_INCH: Final = 72
_LEADING: Final = 1.32
_LETTER_WIDTH: Final = 0.56
_BOLD_WIDTH: Final = 0.66
"""Mean width of a letter in type sizes, on the safe side; DejaVu Sans."""
_COLUMNS: Final = (0.0, 1.45, 2.15, 3.15)
_FRONT_COLUMNS: Final = (0.0, 0.7, 2.75, 4.25, 5.15)
_ROW_SIZE, _SMALL_ROW_SIZE, _ROOMY_ROWS = 13.0, 10.5, 14
_SMALL_FRONT_SIZE: Final = 9.5
_MOST_NOTES: Final = 8
"""More than that go on a page of their own."""
_STAFF_SPACE: Final = 0.1


def sheets_html(sheets: Sequence[CueSheet], *, front: FrontPage | None = None) -> str:
    """One page for each sheet, in one document.

    Parameters
    ----------
    sheets : sequence of CueSheet
        One for a song change; several for an evening.
    front : FrontPage, optional
        The evening's running order, before the sheets.

    Returns
    -------
    str
        Needs no other file and no network.
    """
    names = "; ".join(f"{sheet.from_title} to {sheet.to_title}" for sheet in sheets)
    values = {
        "title": f"Cue sheet: {names}",
        "styles": ("sheet.css",),
        "scripts": (),
        "front": front,
        "headings": HEADINGS,
        "sheets": sheets,
        "clef": clef_path(),
    }
    return filled("cue_sheets.html", values)


@plain_words()
def sheets_pdf(
    sheets: Sequence[CueSheet], *, paper: Paper = "a4", front: FrontPage | None = None
) -> bytes:
    """One page for each sheet.

    Parameters
    ----------
    paper : {'a4', 'letter'}
    front : FrontPage, optional
        The evening's running order, before the sheets.

    Returns
    -------
    bytes
        The same for the same sheets.
    """
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    out = io.BytesIO()
    still = {"Creator": "segue", "Producer": "matplotlib", "CreationDate": None}
    with PdfPages(out, metadata=still) as pages:
        if front is not None:
            figure = Figure(figsize=PAPER_INCHES[paper])
            _Page(figure).write_front(front)
            pages.savefig(figure)
            if len(front.notes) > _MOST_NOTES:
                figure = Figure(figsize=PAPER_INCHES[paper])
                _Page(figure).write_notes(front)
                pages.savefig(figure)
        for sheet in sheets:
            figure = Figure(figsize=PAPER_INCHES[paper])
            _Page(figure).write(sheet)
            pages.savefig(figure)
    return out.getvalue()


class _Page:
    """A page that is written from the top down; places in inches."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure
        self.width, self.height = (float(side) for side in figure.get_size_inches())
        self.y = self.height - _MARGIN

    def write(self, sheet: CueSheet) -> None:
        self._words(f"{sheet.from_title} → {sheet.to_title}", size=19, bold=True)
        if sheet.place:
            self._words(sheet.place, size=10.5, bold=True)
        self._words(f"{sheet.recipe}: {sheet.why}", size=10.5)
        self._space(0.12)
        for name, value in (
            ("tempo", sheet.tempo),
            ("key", sheet.key),
            ("segue", sheet.length),
        ):
            top = self.y
            self._words(name, size=10.5)
            self.y = top
            self._words(value, size=16, bold=True, x=0.8)
        self._words(sheet.relation, size=10.5)
        self._space(0.12)
        self._row(("bar", "time", "who", "what"), size=9.5)
        size = _ROW_SIZE if len(sheet.rows) <= _ROOMY_ROWS else _SMALL_ROW_SIZE
        for row in sheet.table:
            self._rule()
            self._row(row, size=size)
        self._space(0.1)
        if sheet.note is not None:
            self._staff(sheet.note, sheet.singer)
        self._words(sheet.channel_words, size=9.5)
        self._space(0.1)
        for words in sheet.care:
            self._words(words, size=9.5, bold=True)

    def write_front(self, page: FrontPage) -> None:
        self._words(page.title, size=19, bold=True)
        self._words(page.summary, size=10.5)
        self._space(0.12)
        self._row(HEADINGS, size=9.5, columns=_FRONT_COLUMNS)
        size = _ROW_SIZE if len(page.rows) <= _ROOMY_ROWS else _SMALL_FRONT_SIZE
        for row in page.rows:
            self._rule()
            if row.is_song:
                self._row(row.cells, size=size, columns=_FRONT_COLUMNS)
            else:
                self._row(row.cells[:2], size=_SMALL_FRONT_SIZE, columns=_FRONT_COLUMNS[:2])
        self._space(0.1)
        if len(page.notes) <= _MOST_NOTES:
            self._notes(page)
        for words in page.care:
            self._words(words, size=9.5, bold=True)

    def write_notes(self, page: FrontPage) -> None:
        self._words(f"{page.title}: what to know", size=15, bold=True)
        self._space(0.12)
        self._notes(page)

    def _notes(self, page: FrontPage) -> None:
        for words in page.notes:
            self._words(words, size=8.5)
            self._space(0.04)
        self._space(0.1)

    def _space(self, inches: float) -> None:
        self.y -= inches

    def _words(
        self,
        words: str,
        *,
        size: float,
        bold: bool = False,
        x: float = 0.0,
        end_x: float = math.inf,
    ) -> None:
        """Write a paragraph between two places and move below it."""
        room = (min(self.width - 2 * _MARGIN, end_x) - x) * _POINTS_AN_INCH
        lines = textwrap.wrap(
            words, max(int(room / (size * (_BOLD_WIDTH if bold else _LETTER_WIDTH))), 8)
        ) or [""]
        for line in lines:
            self.figure.text(
                (_MARGIN + x) / self.width,
                self.y / self.height,
                line,
                size=size,
                weight="bold" if bold else "normal",
                va="top",
            )
            self.y -= size * _LEADING / _POINTS_AN_INCH

    def _row(
        self, cells: Sequence[str], *, size: float, columns: Sequence[float] = _COLUMNS
    ) -> None:
        top, lowest = self.y, self.y
        ends = (*columns[1:], math.inf)
        for x, end_x, cell in zip(columns, ends, cells, strict=True):
            self.y = top
            self._words(cell, size=size, x=x, end_x=end_x, bold=x == 0.0)
            lowest = min(lowest, self.y)
        self.y = lowest

    def _rule(self) -> None:
        self._space(0.04)
        y = self.y / self.height
        ends = [_MARGIN / self.width, 1 - _MARGIN / self.width]
        self._line(ends, [y, y], 0.5)
        self._space(0.05)

    def _line(self, x: Sequence[float], y: Sequence[float], width: float) -> None:
        from matplotlib.lines import Line2D

        self.figure.add_artist(Line2D(x, y, color="black", linewidth=width))

    def _staff(self, note: StaffNote, singer: str) -> None:
        from matplotlib.patches import Ellipse

        above, below = max(6.0, note.y + 1), min(-2.2, note.y - 1)
        base = self.y - (above + 0.8) * _STAFF_SPACE
        left = _MARGIN

        def at(x: float, y: float) -> tuple[float, float]:
            return (left + x * _STAFF_SPACE) / self.width, (base + y * _STAFF_SPACE) / self.height

        lines = [(0.0, 9.0, float(y)) for y in range(5)]
        lines += [(5.0, 7.0, y) for y in note.ledger_lines]
        for x0, x1, y in lines:
            a, b = at(x0, y), at(x1, y)
            self._line([a[0], b[0]], [a[1], b[1]], 0.8)
        clef = [at(x, y) for x, y in smooth_points()]
        self._line([x for x, _ in clef], [y for _, y in clef], 1.5)
        head = at(6.0, note.y)
        size = (1.3 * _STAFF_SPACE / self.width, 0.95 * _STAFF_SPACE / self.height)
        self.figure.add_artist(Ellipse(head, *size, color="black"))
        self.figure.text(*at(4.4, note.y), note.accidental, size=13, va="center", ha="center")
        if note.is_octave_clef:
            self.figure.text(*at(1.9, -2.6), "8", size=9, va="center", ha="center")
        self.figure.text(*at(11, 2), f"{singer}'s first note: {note.name}", size=15, va="center")
        self.y = base + (below - 1) * _STAFF_SPACE
