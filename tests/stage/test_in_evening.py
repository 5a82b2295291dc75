"""What a cue sheet says when it is one of an evening's."""

from dataclasses import replace

import pytest

from segue.stage.cue_sheet import cue_sheet
from segue.stage.in_evening import InEvening, evening_sheet
from segue.stage.pack import CHANNELS
from segue.stage.sheet_pages import sheets_html
from tests.plan.song_facts import end_facts, start_facts

WORDS = "Join 2 of 4: starts at 8:04 of the evening (bar 245 of its tempo map)"


def _sheets(plan, **where):
    """A sheet on its own, and as one of an evening's."""
    sheet = cue_sheet(
        plan,
        outgoing=replace(end_facts(), title="Old"),
        incoming=replace(start_facts(), title="New"),
        channels=CHANNELS,
        ceiling_dbfs=-12.0,
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
