"""Cue sheets on paper: an HTML page that prints one sheet a page, and a PDF of the same.

The PDF is drawn with matplotlib, which is here for the pictures.
"""

from __future__ import annotations

import io
import math
import textwrap
from typing import TYPE_CHECKING, Any, Final, Literal

from segue.pages import filled
from segue.runfolder.pictures import plain_words
from segue.stage.in_evening import HEADINGS, FrontPage
from segue.stage.staff import StaffNote, clef_path, smooth_points

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.backends.backend_pdf import PdfPages

    from segue.stage.cue_sheet import CueSheet

Paper = Literal["a4", "letter"]

PAPER_INCHES: Final[dict[Paper, tuple[float, float]]] = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
_MARGIN: Final = 0.6  # inches around the page; by judgement
_POINTS_AN_INCH: Final = 72  # of type, as PDF counts them
_LEADING: Final = 1.32  # from line to line, in heights of the letters; by judgement
_LETTER_WIDTH: Final = 0.56  # mean width of a letter, in heights; by judgement
_BOLD_WIDTH: Final = 0.66
"""Mean width of a letter in type sizes, on the safe side; DejaVu Sans."""
# Inches from the left margin where columns start; by judgement
_COLUMNS: Final = (0.0, 1.45, 2.15, 3.15)
_FRONT_COLUMNS: Final = (0.0, 0.7, 2.75, 4.25, 5.15)  # the same on the front page; by judgement
# Points, points on a full page, rows that are not full
_ROW_SIZE, _SMALL_ROW_SIZE, _ROOMY_ROWS = 13.0, 10.5, 14
_SMALL_FRONT_SIZE: Final = 9.5  # points of type on a full front page; by judgement
_STAFF_SPACE: Final = 0.1  # inches between two lines of the staff; by judgement


def sheets_html(sheets: Sequence[CueSheet], *, front: FrontPage | None = None) -> str:
    """One page for each sheet, in one document.

    Needs no other file and no network.

    Parameters
    ----------
    sheets : sequence of CueSheet
        One for a song change; several for an evening.
    front : FrontPage, optional
        The evening's running order, before the sheets.
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

    The same for the same sheets.

    Parameters
    ----------
    front : FrontPage, optional
        The evening's running order, before the sheets.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    still = {"Creator": "segue", "Producer": "matplotlib", "CreationDate": None}
    with PdfPages(out, metadata=still) as pages:
        for written in (*(() if front is None else (front,)), *sheets):
            page = _Page(pages, PAPER_INCHES[paper])
            if isinstance(written, FrontPage):
                page.write_front(written)
            else:
                page.write_sheet(written)
            page.finish()
    return out.getvalue()


class _Page:
    """The page that is being written, from the top down; when full, it turns. Places in inches."""

    def __init__(self, pages: PdfPages, size_inches: tuple[float, float]) -> None:
        self.pages = pages
        self.width, self.height = size_inches
        self._begin()

    def _begin(self) -> None:
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=(self.width, self.height))
        self.y = self.height - _MARGIN

    def finish(self) -> None:
        self.pages.savefig(self.figure)  # type: ignore[no-untyped-call]  # ships no types

    def write_sheet(self, sheet: CueSheet) -> None:
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
        size = _ROW_SIZE if len(sheet.rows) <= _ROOMY_ROWS else _SMALL_ROW_SIZE
        self._row(("bar", "time", "who", "what"), size=9.5, is_ruled=False)
        for row in sheet.table:
            self._row(row, size=size)
        self._space(0.1)
        if sheet.note is not None:
            self._staff(sheet.note, sheet.singer)
        if sheet.channel_words:
            self._words(sheet.channel_words, size=9.5)
            self._space(0.1)
        for words in sheet.care:
            self._words(words, size=9.5, bold=True)

    def write_front(self, page: FrontPage) -> None:
        self._words(page.title, size=19, bold=True)
        self._words(page.summary, size=10.5)
        self._space(0.12)
        size = _ROW_SIZE if len(page.rows) <= _ROOMY_ROWS else _SMALL_FRONT_SIZE
        self._row(HEADINGS, size=9.5, columns=_FRONT_COLUMNS, is_ruled=False)
        for row in page.rows:
            if row.is_song:
                self._row(row.cells, size=size, columns=_FRONT_COLUMNS)
            else:
                self._row(row.cells[:2], size=_SMALL_FRONT_SIZE, columns=_FRONT_COLUMNS[:2])
        self._space(0.1)
        for words in page.notes:
            self._words(words, size=8.5)
            self._space(0.04)
        self._space(0.1)
        for words in page.care:
            self._words(words, size=9.5, bold=True)

    def _space(self, inches: float) -> None:
        self.y -= inches

    def _make_room(self, inches: float) -> None:
        """Turn the page where less is left of it."""
        if self.y - inches < _MARGIN:
            self.finish()
            self._begin()

    def _wrapped(
        self, words: str, size: float, *, bold: bool, x: float, end_x: float = math.inf
    ) -> list[str]:
        room = (min(self.width - 2 * _MARGIN, end_x) - x) * _POINTS_AN_INCH
        n_letters = int(room / (size * (_BOLD_WIDTH if bold else _LETTER_WIDTH)))
        return textwrap.wrap(words, max(n_letters, 8)) or [""]

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
        line_height = size * _LEADING / _POINTS_AN_INCH
        for line in self._wrapped(words, size, bold=bold, x=x, end_x=end_x):
            self._make_room(line_height)
            look: dict[str, Any] = {"weight": "bold" if bold else "normal", "va": "top"}
            self._text(_MARGIN + x, self.y, line, size=size, **look)
            self.y -= line_height

    def _row(
        self,
        cells: Sequence[str],
        *,
        size: float,
        columns: Sequence[float] = _COLUMNS,
        is_ruled: bool = True,
    ) -> None:
        """Write a row of a table, whole, with a line above it."""
        ends = (*columns[1:], math.inf)
        placed = list(zip(cells, columns, ends, strict=True))
        n_lines = max(
            len(self._wrapped(cell, size, bold=x == 0.0, x=x, end_x=end_x))
            for cell, x, end_x in placed
        )
        self._make_room(n_lines * size * _LEADING / _POINTS_AN_INCH + 0.09)
        if is_ruled:
            self._space(0.04)
            self._line([_MARGIN, self.width - _MARGIN], [self.y, self.y], 0.5)
            self._space(0.05)
        top, lowest = self.y, self.y
        for cell, x, end_x in placed:
            self.y = top
            self._words(cell, size=size, x=x, end_x=end_x, bold=x == 0.0)
            lowest = min(lowest, self.y)
        self.y = lowest

    def _line(self, x: Sequence[float], y: Sequence[float], width: float) -> None:
        from matplotlib.lines import Line2D

        shares = [value / self.width for value in x], [value / self.height for value in y]
        self.figure.add_artist(Line2D(*shares, color="black", linewidth=width))

    def _text(self, x: float, y: float, words: str, **look: Any) -> None:  # noqa: ANN401
        self.figure.text(x / self.width, y / self.height, words, **look)

    def _staff(self, note: StaffNote, singer: str) -> None:
        from matplotlib.patches import Ellipse

        above, below = max(6.0, note.y + 1), min(-2.2, note.y - 1)
        self._make_room((above - below + 1.8) * _STAFF_SPACE)
        base = self.y - (above + 0.8) * _STAFF_SPACE

        def at(x: float, y: float) -> tuple[float, float]:
            return _MARGIN + x * _STAFF_SPACE, base + y * _STAFF_SPACE

        def text(x: float, y: float, words: str, size: float, side: str = "center") -> None:
            self._text(*at(x, y), words, size=size, va="center", ha=side)

        lines = [((0.0, float(y)), (9.0, float(y))) for y in range(5)]
        lines += [((5.0, y), (7.0, y)) for y in note.ledger_lines]
        for chain, width in (*((line, 0.8) for line in lines), (smooth_points(), 1.5)):
            places = [at(x, y) for x, y in chain]
            self._line([x for x, _ in places], [y for _, y in places], width)
        x, y = at(6.0, note.y)
        size = 1.3 * _STAFF_SPACE / self.width, 0.95 * _STAFF_SPACE / self.height
        head = Ellipse((x / self.width, y / self.height), *size, color="black")
        self.figure.add_artist(head)
        text(4.4, note.y, note.accidental, 13)
        if note.is_octave_clef:
            text(1.9, -2.6, "8", 9)
        text(11, 2, f"{singer}'s first note: {note.name}", 15, "left")
        self.y = base + (below - 1) * _STAFF_SPACE
