"""What later commands make of a run document, short of reading its sound."""

from segue.audition.page import PageView, filled_page
from segue.cli.explain import card_report
from segue.setlist.show.evening_pack import front_page, map_of, sheets_of
from segue.setlist.show.evening_page import evening_page_text
from segue.setlist.show.rows import rows_of
from segue.stage.midi import midi_bytes, score_bytes
from segue.stage.midi_score import markers_of
from segue.stage.pack import markers_json, sheet_of
from segue.stage.sheet_pages import sheets_html


def used_evening(folder, evening):
    """Everything of an evening's page, sheets and map, short of its songs' sound."""
    rows = rows_of(evening)
    evening_page_text(folder, rows)
    sheets_html(sheets_of(rows), front=front_page(rows))
    score_bytes(map_of(evening).score)


def used(folder, document):
    """Explain, audition and stage every candidate of a document, as far as words and notes go."""
    for record in document.candidates:
        card_report(document, record)
        titles = {"from_title": document.outgoing.title, "to_title": document.incoming.title}
        markers = markers_of(record.plan, **titles)
        markers_json(markers)
        sheets_html([sheet_of(document, record)])
        midi_bytes(record.plan, markers)
    view = PageView(document=document, records=document.candidates)
    return filled_page(view, run={}, ballot=""), folder
