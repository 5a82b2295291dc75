"""The evening's page: one HTML file beside the run folders of its joins."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Final

from segue.audition.page import PAGE_NAME
from segue.errors import RunFolderError
from segue.files.whole_file import write_whole
from segue.pages import filled
from segue.plan.heard_words import NO_KEY, keys_sentence
from segue.setlist.lengths import clock
from segue.setlist.set_document import read_evening
from segue.setlist.show.evening_drawing import evening_drawing
from segue.setlist.show.evening_picture import PICTURE_NAME, write_evening_picture
from segue.setlist.show.evening_sheets import SHEETS_NAME, front_page, places_of, sheets_of
from segue.setlist.show.rows import capital, rows_of
from segue.stage.sheet_pages import sheets_html

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import RunDocument
    from segue.setlist.evening import Evening
    from segue.setlist.show.rows import EveningRows, JoinRow

EVENING_PAGE_NAME: Final = "index.html"


def write_evening_page(folder: Path, evening: Evening) -> Path:
    """Write the page of an evening, its picture and its cue sheets into its folder.

    Parameters
    ----------
    folder : Path
        Holds the run folders that the evening names.

    Returns
    -------
    Path
        The page.

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

    Returns
    -------
    Path
        The page.

    Raises
    ------
    RunFolderError
        If the evening cannot be read, or the page not written.
    """
    try:
        return write_evening_page(folder, read_evening(folder))
    except OSError as error:
        raise RunFolderError(
            folder, f"could not be written ({error.strerror}): make room."
        ) from error


def evening_page_text(folder: Path, rows: EveningRows) -> str:
    """The page as HTML text; see `write_evening_page`."""
    made = [join.number for join in rows.joins if join.record is not None]
    name = folder.resolve().name  # the page is the same wherever the evening was made
    values = {
        "styles": ("shared.css", "evening.css"),
        "scripts": ("evening.js",),
        "evening": rows,
        "joins": [(join, _about(join)) for join in rows.joins],
        "picture": evening_drawing(rows, "broad"),
        "picture_name": PICTURE_NAME,
        "page_name": PAGE_NAME,
        "sheets_name": SHEETS_NAME,
        "sheet_numbers": {number: sheet for sheet, number in enumerate(made, start=1)},
        "clock": clock,
        "no_key": NO_KEY,
        "state_of": _state,
        "voting": _command("audition", name, "--serve"),
        "staging": _command("stage", name, "--out", "FOLDER"),
    }
    return filled("evening.html", values)


def _about(join: JoinRow) -> str:
    """How the songs of a segue that is made lie to each other, and what happens between them."""
    if join.document is None:
        return ""
    keys = keys_sentence(join.document.outgoing, join.document.incoming)
    free = "; ".join(f"{name} {seconds:.0f} s" for name, seconds in join.free)
    tempo = join.steps[-1] if join.has_tempo_step else ""
    return ". ".join(capital(part) for part in (keys, tempo, free) if part)


def _state(document: RunDocument) -> str:
    choice = document.choice
    if choice is None:
        return "Not chosen yet: the best marked one counts."
    names = {r.rank: f"{r.label}, {r.plan.recipe}" for r in document.candidates}
    why = f" ({choice.why})" if choice.why else ""
    return f"Chosen: {names.get(choice.rank, 'an option that is gone')}{why}."


def _command(*words: str) -> str:
    """A command to copy, each word quoted for a shell where it must be."""
    return " ".join(["segue", *(shlex.quote(word) for word in words)])
