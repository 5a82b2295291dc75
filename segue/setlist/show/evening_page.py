"""The evening's page: one HTML file beside the run folders of its joins.

Styles and script are inside; the content security policy names them by their
hash. Sound is not inside: the players read the WAVs of the run folders, by
relative links, and only when somebody presses play. Nothing else is allowed,
so the page cannot reach a network.
"""

from __future__ import annotations

import base64
import hashlib
import html
from importlib.resources import files
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from segue.audition.assets import STYLE_NAME
from segue.audition.assets import asset as audition_asset
from segue.audition.page import PAGE_NAME
from segue.errors import RunFolderError
from segue.files.whole_file import write_whole
from segue.plan.heard_words import keys_sentence
from segue.setlist.lengths import clock
from segue.setlist.set_document import read_evening
from segue.setlist.show.evening_picture import PICTURE_NAME, write_evening_picture
from segue.setlist.show.evening_sheets import SHEETS_NAME, front_page, places_of, sheets_of
from segue.setlist.show.rows import rows_of
from segue.setlist.show.ruler_drawing import Picture, PictureGap, picture_svg
from segue.stage.sheet_html import sheets_html

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import CandidateRecord, RunDocument
    from segue.setlist.evening import Evening
    from segue.setlist.show.rows import EveningRows, JoinRow, SongRow

EVENING_PAGE_NAME: Final = "index.html"
_SOUND_SOURCES: Final = "'self' file:"
"""A page from a disk has no origin of its own in some browsers: its neighbours are 'file:'."""


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
    write_evening_picture(folder / PICTURE_NAME, evening)
    _write(
        folder / SHEETS_NAME,
        sheets_html(sheets_of(rows, where=places_of(evening)), front=front_page(rows)),
    )
    return _write(folder / EVENING_PAGE_NAME, evening_page_text(folder, rows))


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
    style = audition_asset(STYLE_NAME) + _asset("evening.css")
    script = _asset("evening.js")
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        f"media-src {_SOUND_SOURCES}; base-uri 'none'; form-action 'none'"
    )
    picture = _picture(rows)
    made = [join.number for join in rows.joins if join.record is not None]
    sheets = {number: sheet for sheet, number in enumerate(made, start=1)}
    return _asset("evening.html").format(
        title=html.escape(rows.title),
        policy=policy,
        style=style,
        script=script,
        summary=html.escape(rows.summary),
        warnings=_warnings(rows.warnings),
        pictures="\n".join(picture_svg(picture, is_tall=is_tall) for is_tall in (False, True)),
        order=_order(rows),
        joins="\n".join(_join(folder, join, sheets.get(join.number, 0)) for join in rows.joins),
        picture=PICTURE_NAME,
        stage=_command("stage", str(folder), "--out", "FOLDER"),
    )


def _write(path: Path, text: str) -> Path:
    write_whole(path, text.encode())
    return path


def _asset(name: str) -> str:
    return (files("segue.setlist") / "assets" / name).read_text(encoding="utf-8")


def _hash(block: str) -> str:
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


def _picture(rows: EveningRows) -> Picture:
    gaps = tuple(
        PictureGap(start_s=join.start_s, end_s=join.end_s, is_free=join.record is None)
        for join in rows.joins
        if join.end_s > join.start_s
    )
    return Picture(songs=rows.songs, gaps=gaps, slot_s=rows.slot_s)


def _warnings(warnings: tuple[str, ...]) -> str:
    items = "".join(f"<li>{html.escape(words)}</li>" for words in warnings)
    return f'<ul class="warnings">{items}</ul>' if items else ""


def _order(rows: EveningRows) -> str:
    lines = []
    for song, join in zip(rows.songs, [*rows.joins, None], strict=True):
        lines.append(_song(song))
        if join is not None:
            words = "; ".join((*join.steps, join.words))
            lines.append(
                f'<tr class="between"><td class="clock">{clock(join.start_s)}</td>'
                f'<td colspan="4"><a href="#join-{join.number}">join {join.number}</a>: '
                f"{html.escape(words)}</td></tr>"
            )
    return "\n".join(lines)


def _song(song: SongRow) -> str:
    energy = "" if song.energy is None else f"{song.energy} of 5"
    # said anew where there is no room for the heading
    unit = " bpm" if song.start_bpm is not None and song.end_bpm is not None else ""
    return (
        f'<tr><td class="clock">{clock(song.start_s)}</td>'
        f'<th scope="row">{song.number}. {html.escape(song.title)}</th>'
        f"<td>{html.escape(song.key_words)}</td>"
        f'<td class="number{unit}">{html.escape(song.tempo_words)}</td>'
        f'<td class="number">{energy}</td></tr>'
    )


def _join(folder: Path, join: JoinRow, sheet_number: int) -> str:
    title = html.escape(f"{join.number}. {join.from_title} → {join.to_title}")
    body = f"<p>{html.escape('; '.join((*join.steps, join.words)))}</p>"
    if join.document is not None:
        body = _ways(folder, join, join.document, sheet_number)
    return (
        f'<section class="way" id="join-{join.number}" aria-labelledby="title-{join.number}">'
        f'<div class="top"><h2 id="title-{join.number}">{title}</h2>'
        f'<span class="soft clock">at {clock(join.start_s)}</span></div>'
        f"{_warnings(join.warnings)}{body}</section>"
    )


def _ways(folder: Path, join: JoinRow, document: RunDocument, sheet_number: int) -> str:
    keys = keys_sentence(document.outgoing, document.incoming)
    free = "; ".join(f"{name}, {seconds:.0f} s" for name, seconds in join.free)
    tempo = "; ".join(step for step in join.steps if "tempo" in step)
    about = ". ".join(part[0].upper() + part[1:] for part in (keys, tempo, free) if part)
    ways = "".join(_way(folder, join, document, record) for record in document.candidates)
    state = (
        f"Chosen: {_chosen_words(document)}"
        if document.choice is not None
        else "Not chosen yet: the best scored one is taken."
    )
    page = html.escape(quote(f"{join.folder}/{PAGE_NAME}"))
    sheet = html.escape(f"{quote(SHEETS_NAME)}#sheet-{sheet_number}")
    return (
        f'<p>{html.escape(about)}.</p><p class="chosen">{html.escape(state)}</p>'
        f'<p class="files for-screen"><a href="{page}">The page of this join</a> plays the ways in '
        "step, with click, cue and everything that was measured. "
        f'<a href="{sheet}">Its cue sheet</a> says who does what in which bar.</p>'
        f'<div class="ways">{ways}</div>'
    )


def _chosen_words(document: RunDocument) -> str:
    choice = document.choice
    names = {record.rank: record.plan.recipe for record in document.candidates}
    if choice is None:
        return ""
    why = f" ({choice.why})" if choice.why else ""
    return f"{choice.rank}, {names.get(choice.rank, 'a candidate that is gone')}{why}."


def _way(folder: Path, join: JoinRow, document: RunDocument, record: CandidateRecord) -> str:
    name = f"{record.rank}. {record.plan.recipe}"
    is_taken = record == join.record
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    mark = "chosen" if join.is_chosen else "taken for now"
    tie = " · as good as the one before" if record.is_tie else ""
    command = _command("choose", str(folder / join.folder), str(record.rank))
    sound = html.escape(quote(f"{join.folder}/{record.music_file}"))
    taken = f' <span class="mark">✓ {mark}</span>' if is_taken else ""
    between_s = record.entry_s - record.exit_s
    return (
        f'<article class="one{" taken" if is_taken else ""}"><h3>{html.escape(name)}{taken}</h3>'
        f"<p>{html.escape(record.plan.why)}</p>"
        f'<p class="soft small">score <strong>{record.scorecard.overall:.2f}</strong> of 1{tie}'
        f" · {n_bars} bars, {between_s:.1f} s</p>"
        f'<p class="small for-screen">To choose it: <code>{command}</code></p>'
        f'<audio controls preload="none" src="{sound}"'
        f' aria-label="{html.escape(f"{document.incoming.title}: {name}")}"></audio></article>'
    )


def _command(*words: str) -> str:
    """A command to copy, each word quoted for a shell where it must be."""
    from shlex import quote as for_shell

    return html.escape(" ".join(["segue", *(for_shell(word) for word in words)]))
