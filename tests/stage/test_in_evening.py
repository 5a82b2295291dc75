"""What a cue sheet says when it is one of an evening's."""

from dataclasses import replace

import pytest

from segue.stage.cue_sheet import cue_sheet
from segue.stage.in_evening import FrontPage, FrontRow, InEvening, evening_sheet
from segue.stage.pack import CHANNELS
from segue.stage.sheet_pages import _Page, sheets_html, sheets_pdf
from tests.plan.song_facts import end_facts, start_facts

WORDS = "Segue 2 of 4: starts at 8:04 of the evening (bar 245 of its tempo map)"


def _sheets(plan, **where):
    """A sheet on its own, and as one of an evening's."""
    sheet = cue_sheet(
        plan,
        outgoing=replace(end_facts(), title="Old"),
        incoming=replace(start_facts(), title="New"),
        channels=CHANNELS,
    )
    place = InEvening(words=WORDS, hold_beat=plan.entry_beat, **where)
    return sheet, evening_sheet(sheet, plan, place)


def test_only_an_evenings_sheet_has_a_place(plans):
    alone, one_of_many = _sheets(plans[0])
    assert WORDS in sheets_html([one_of_many])
    assert 'class="place"' not in sheets_html([alone])
    assert one_of_many.rows == alone.rows


def test_a_singer_with_a_name_is_called_by_it(plans):
    alone, named = _sheets(plans[0], singer="Mara")
    assert [row.who for row in alone.rows if row.what.startswith("comes in")] == ["singer"]
    assert [row.who for row in named.rows if row.what.startswith("comes in")] == ["Mara"]


def test_who_talks_is_not_who_sings_next(plans):
    _, sheet = _sheets(plans[0], singer="Mara", talk_s=1.0)
    assert [row.who for row in sheet.rows if row.what == "talk, 1 s"] == ["singer"]


def test_talk_is_first_and_the_changeover_after_it(plans):
    _, sheet = _sheets(plans[0], talk_s=1.0, changeover_s=2.0)
    places = {row.what: row for row in sheet.rows}
    talk, change = places["talk, 1 s"], places["changeover, 2 s"]
    exit_s = plans[0].tempo.seconds_at(plans[0].exit_beat)
    assert talk.time_s == pytest.approx(exit_s)
    # On the nearest beat, so that it has a place in a bar.
    beat_s = 60 / plans[0].tempo.bpm_at(plans[0].exit_beat)
    assert change.time_s == pytest.approx(exit_s + 1.0, abs=beat_s / 2)
    assert [row.time_s for row in sheet.rows] == sorted(row.time_s for row in sheet.rows)


def test_what_no_music_covers_is_held_before_bar_one(plans):
    held = (("talk", 5.0), ("changeover", 20.0))
    _, sheet = _sheets(plans[0], talk_s=60.0, changeover_s=20.0, held=held)
    whats = [row.what for row in sheet.rows]
    hold = whats.index(
        "fade out and hold the files here 25 s, no music: talk, 5 s, then changeover, 20 s"
    )
    assert whats[hold + 1 :][0].startswith("New: bar one")
    assert "changeover, 20 s" not in whats


def test_a_long_running_order_goes_on_overleaf_with_its_care(monkeypatch):
    """Nothing is written below the paper's edge: not the last songs, and not the care for ears."""
    songs = [
        FrontRow(clock=f"{4 * n}:00", what=f"{n + 1}. Song", key="E minor", tempo="124")
        for n in range(40)
    ]
    notes = tuple(f"Note {n} of what the map does not know." for n in range(12))
    front = FrontPage(
        title="Long", summary="40 songs", rows=tuple(songs), notes=notes, care=("Start low.",)
    )
    written = []
    text = _Page._text

    def kept(page, x, y, words, **look):
        written.append((y, words))
        text(page, x, y, words, **look)

    monkeypatch.setattr(_Page, "_text", kept)
    for paper in ("a4", "letter"):
        written.clear()
        pdf = sheets_pdf([], paper=paper, front=front)
        words = [words for _, words in written]
        assert words[-1] == "Start low."
        assert {song.what for song in songs} | set(notes) <= set(words)
        assert min(y for y, _ in written) > 0.6
        assert b"/Count 2" in pdf or b"/Count 3" in pdf


@pytest.mark.parametrize("is_at_the_exit", [True, False])
def test_a_wait_at_the_exit_comes_after_the_old_song_and_else_before_what_is_there(
    plans, is_at_the_exit
):
    plan = plans[0]
    alone, _ = _sheets(plan)
    where = InEvening(
        words=WORDS,
        held=(("talk", 9.0),),
        talk_s=9.0,
        hold_beat=plan.exit_beat if is_at_the_exit else plan.entry_beat,
    )
    whats = [row.what for row in evening_sheet(alone, plan, where).rows]
    hold = next(n for n, what in enumerate(whats) if what.startswith("fade out and hold"))
    neighbour = "is over; the segue begins" if is_at_the_exit else "New: bar one"
    assert neighbour in whats[hold + (-1 if is_at_the_exit else 1)]
