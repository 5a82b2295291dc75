"""The cue sheet as one HTML page that prints on one sheet of A4 or Letter."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Final

from segue.stage.cue_sheet import table_of
from segue.stage.front_page import HEADINGS
from segue.stage.staff import staff_svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.stage.cue_sheet import CueSheet
    from segue.stage.front_page import FrontPage, FrontRow

STYLE: Final = """
@page { margin: 11mm }
:root { color-scheme: light dark }
body { font: 15px/1.35 system-ui, "DejaVu Sans", sans-serif; margin: 1.2rem auto; max-width: 46rem;
  padding: 0 1rem }
h1 { font-size: 1.7rem; line-height: 1.15; margin: 0 }
h2 { font-size: 1.05rem; margin: .9rem 0 .3rem }
p { margin: .3rem 0 }
dl.big { display: grid; grid-template-columns: repeat(3, auto); gap: .3rem 1.2rem; margin: .8rem 0 }
dl.big dt { font-size: .85rem }
dl.big dd { font-size: 1.35rem; font-weight: 700; margin: 0 }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: .22rem .5rem .22rem 0;
  border-bottom: 1px solid currentColor }
td { font-size: 1.12rem }
td.bar { font-weight: 700; font-size: 1.25rem; white-space: nowrap }
td.time { white-space: nowrap; font-variant-numeric: tabular-nums }
figure { display: flex; align-items: center; gap: 1rem; margin: .6rem 0 }
figure strong { font-size: 1.9rem }
svg.staff { height: 5.4rem; width: auto }
p.place { font-weight: 700 }
.care { border: 2px solid currentColor; padding: .4rem .7rem; margin-top: .8rem; font-size: .9rem }
tr.between td { font-size: 1rem; font-style: italic }
tr.song td:nth-child(2) { font-weight: 700 }
.notes { font-size: .85rem; padding-left: 1.1rem }
.wide { overflow-x: auto }
td.who { white-space: nowrap }
section.sheet + section.sheet { break-before: page; margin-top: 3rem }
@media print {
  section.sheet + section.sheet { margin-top: 0 }
  body { margin: 0; max-width: none; padding: 0; color: #000; background: #fff; font-size: 13.5px }
}
"""


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
    title = "; ".join(f"{sheet.from_title} to {sheet.to_title}" for sheet in sheets)
    pages = [] if front is None else [_front(front)]
    pages += [_sheet(sheet, number) for number, sheet in enumerate(sheets, start=1)]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Cue sheet: {escape(title)}</title><style>{STYLE}</style></head>\n<body>"
        + "\n".join(pages)
        + "</body></html>\n"
    )


def _sheet(sheet: CueSheet, number: int) -> str:
    big = (
        ("tempo", sheet.tempo),
        ("key", sheet.key),
        ("segue", sheet.length),
    )
    facts = "".join(f"<div><dt>{escape(n)}</dt><dd>{escape(v)}</dd></div>" for n, v in big)
    rows = "".join(
        f'<tr><td class="bar">{escape(place)}</td><td class="time">{time}</td>'
        f'<td class="who">{escape(who)}</td><td>{escape(what)}</td></tr>'
        for place, time, who, what in table_of(sheet)
    )
    channels = ", ".join(f"{n} {name}" for n, name in enumerate(sheet.channels, start=1))
    care = "".join(f"<p>{escape(words)}</p>" for words in sheet.care)
    place = f'<p class="place">{escape(sheet.place)}</p>' if sheet.place else ""
    return (
        f'<section class="sheet" id="sheet-{number}">'
        f"<h1>{escape(sheet.from_title)} → {escape(sheet.to_title)}</h1>"
        f"{place}<p>{escape(sheet.recipe)}: {escape(sheet.why)}</p>"
        f'<dl class="big">{facts}</dl><p>{escape(sheet.relation)}</p>'
        "<table><thead><tr><th>bar</th><th>time</th><th>who</th><th>what</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>{_figure(sheet)}"
        f"<p>Channels of the multichannel file: {escape(channels)}. "
        "Click and cue are for ears only; they are not in the music.</p>"
        f'<div class="care" role="note">{care}</div></section>'
    )


def _front(page: FrontPage) -> str:
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in HEADINGS)
    rows = "".join(_front_row(row) for row in page.rows)
    notes = "".join(f"<li>{escape(words)}</li>" for words in page.notes)
    care = "".join(f"<p>{escape(words)}</p>" for words in page.care)
    return (
        f'<section class="sheet"><h1>{escape(page.title)}</h1><p>{escape(page.summary)}</p>'
        f'<div class="wide"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>'
        f'</div><ul class="notes">{notes}</ul>'
        f'<div class="care" role="note">{care}</div></section>'
    )


def _front_row(row: FrontRow) -> str:
    time = f'<td class="time">{escape(row.clock)}</td>'
    if not row.is_song:
        return f'<tr class="between">{time}<td colspan="4">{escape(row.what)}</td></tr>'
    cells = "".join(f"<td>{escape(cell)}</td>" for cell in row.cells[1:])
    return f'<tr class="song">{time}{cells}</tr>'


def _figure(sheet: CueSheet) -> str:
    if sheet.note is None:
        return ""
    octave = " (sounds an octave below the written note)" if sheet.note.is_octave_clef else ""
    return (
        f"<figure>{staff_svg(sheet.note)}<figcaption>{escape(sheet.singer)}'s first note"
        f"<br><strong>{escape(sheet.note.name)}</strong>{octave}</figcaption></figure>"
    )
