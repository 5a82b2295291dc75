"""What the cue sheet says, and how it looks on paper and in a browser."""

import html
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.analysis.facts import FirstNote
from segue.music.key import parse_key
from segue.plan import plan_segue
from segue.plan.heard_words import filled_in
from segue.stage.cue_sheet import CueRow, clock, cue_row, cue_sheet
from segue.stage.in_evening import FrontPage, FrontRow, InEvening, evening_sheet
from segue.stage.pack import CHANNELS
from segue.stage.sheet_pages import sheets_html, sheets_pdf
from segue.stage.staff import clef_path, smooth_points, staff_note
from tests.plan.song_facts import end_facts, start_facts, unheard

OLD = replace(end_facts(), title="Old")
NEW = replace(
    start_facts(), title="New", first_note=FirstNote(midi=68.1, time_s=5.0)
)  # G sharp or A flat


def _sheet(plan, **changes):
    facts = {
        "outgoing": OLD,
        "incoming": NEW,
        "channels": CHANNELS,
    }
    return cue_sheet(plan, **(facts | changes))


def test_rows_run_forward_and_name_the_entry_in_its_bar(plans):
    sheet = _sheet(plans[0])
    assert [row.time_s for row in sheet.rows] == sorted(row.time_s for row in sheet.rows)
    entry = next(row for row in sheet.rows if row.what.startswith("New: bar one"))
    line = next(line for line in plans[0].bar_lines if line.beat == plans[0].entry_beat)
    assert entry.place == str(line.number)


def test_a_song_in_free_time_starts_after_a_bar_not_on_a_fifth_beat(plans):
    plan = plans[0]
    later = [line for line in plan.bar_lines if line.beat >= plan.entry_beat]
    moved = tuple(
        replace(line, beat=line.beat + 1.75) if line in later else line for line in plan.bar_lines
    )
    entry = next(
        row for row in _sheet(replace(plan, bar_lines=moved)).rows if row.what.startswith("New")
    )
    assert entry.place == f"after {later[0].number - 1}"
    assert entry.what.startswith(f"New: starts freely, its bars from {later[0].number} on")


def _unheard_sheet(shelf, *, old=True, new=True):
    """Sheet of a pad between songs of which one, or each, has neither a key nor a pulse."""
    edges = filled_in(unheard(OLD) if old else OLD, unheard(NEW) if new else NEW)
    plan = plan_segue(shelf["pad in the new key"], *edges)
    return _sheet(plan, outgoing=edges[0], incoming=edges[1])


def _text(sheet):
    return " ".join((sheet.tempo, sheet.key, sheet.relation, *(row.what for row in sheet.rows)))


def test_a_new_song_without_a_key_or_a_pulse_is_told_so(shelf):
    sheet = _unheard_sheet(shelf, old=False)
    assert sheet.key == "E minor → none heard"
    assert sheet.tempo == "124 BPM → free time"
    assert sheet.relation == (
        "No key was heard at the start of 'New': pads and cue keep to E minor"
    )
    whats = [row.what for row in sheet.rows]
    assert "New: starts, in free time" in whats
    assert any(what.startswith("cue: root and fifth of E minor, the old song's") for what in whats)
    assert "F minor" not in _text(sheet)
    assert "96" not in _text(sheet)


def test_an_old_song_without_a_key_or_a_pulse_is_told_so(shelf):
    sheet = _unheard_sheet(shelf, new=False)
    assert sheet.key == "none heard → F minor"
    assert sheet.tempo == "free time → 96 BPM"
    assert sheet.relation == "No key was heard at the end of 'Old': pads and cue keep to F minor"
    assert "Old is over; the segue begins" in [row.what for row in sheet.rows]
    assert "E minor" not in _text(sheet)
    assert "124" not in _text(sheet)


def test_two_songs_without_a_key_have_guessed_chords_and_say_so(shelf):
    sheet = _unheard_sheet(shelf)
    assert (sheet.key, sheet.tempo) == ("none heard", "free time")
    assert sheet.relation.endswith("the chords of pads and cue are a guess")
    assert "in F minor" not in sheet.relation
    assert "root and fifth of F minor, a guess" in _text(sheet)


def test_a_first_note_is_spelled_in_the_key_of_the_join(shelf):
    names = [_unheard_sheet(shelf, old=o, new=n).note.name for o, n in ((1, 0), (0, 1), (1, 1))]
    # F minor has flats, E minor sharps; without any key a note has a sharp.
    assert names == ["Ab4", "G#4", "G#4"]


@pytest.mark.parametrize("paper", ["html", "pdf"])
def test_what_was_not_heard_is_on_paper(shelf, paper, monkeypatch):
    sheet = _unheard_sheet(shelf, old=False)
    if paper == "html":
        page = sheets_html([sheet])
    else:
        written = []
        monkeypatch.setattr(
            "segue.stage.sheet_pages._Page._words", lambda _, words, **__: written.append(words)
        )
        sheets_pdf([sheet])
        page = "\n".join(written)
    assert "E minor → none heard" in page
    assert "124 BPM → free time" in page


def test_a_ramp_says_who_moves_the_tempo(plans):
    assert any("tempo moves from" in row.what for row in _sheet(plans[0]).rows)


def test_talk_is_on_the_sheet(plans):
    sheet = _sheet(replace(plans[1], talk_s=25.0))
    assert any(row.what == "talk, 25 s" for row in sheet.rows)


@pytest.mark.parametrize(
    ("beat_in_bar", "place"),
    [(1.0, "9"), (1.04, "9"), (1.14, "9"), (1.5, '9, the "and" of 1'), (1.9, "9, beat 2"),
     (2.0, "9, beat 2"), (2.1, "9, beat 2"), (3.67, '9, the "and" of 3'), (4.0, "9, beat 4"),
     (4.05, "9, beat 4"), (4.5, '9, the "and" of 4'), (4.84, '9, the "and" of 4'),
     (5.0, "after 9"), (5.5, "after 9")],
)  # fmt: skip
def test_a_place_is_counted_as_musicians_say_it(beat_in_bar, place):
    # Counting "one and two and": common practice, no source.
    row = CueRow(bar=9, beat_in_bar=beat_in_bar, metre=4, time_s=0.0, who="band", what="go")
    assert row.place == place


def test_a_hair_before_a_bar_line_is_on_it(plans):
    plan = plans[0]
    line = plan.bar_lines[3]
    assert cue_row(plan, line.beat - 0.1, "band", "go").place == str(line.number)
    assert (
        cue_row(plan, line.beat - 0.5, "band", "go").place == f'{line.number - 1}, the "and" of 4'
    )


@given(beats=st.floats(0.0, 60.0))
def test_a_place_is_never_half_a_beat_from_what_it_names(plans, beats):
    place = cue_row(plans[0], beats, "band", "go").place
    bar, _, count = place.partition(", ")
    number = float(count.split()[-1]) if count else 1.0
    start = next(line.beat for line in plans[0].bar_lines if line.number == int(bar.split()[-1]))
    named = start + number - 1.0 + 0.5 * ("and" in count)
    if not place.startswith("after"):
        assert abs(beats - named) <= 0.35 + 1e-9  # the "and" is all between .15 and .85


def test_a_sheet_that_goes_with_no_files_does_not_speak_of_them(plans):
    sheet = _sheet(plans[0], channels=None)
    hold = InEvening(words="Segue 1 of 2", held=(("talk", 9.0),), hold_beat=plans[0].entry_beat)
    sheets = [sheet, evening_sheet(sheet, plans[0], hold)]
    assert not re.search(r"\bfiles?\b|\.wav|channel", sheets_html(sheets).partition("<main>")[2])
    written = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "segue.stage.sheet_pages._Page._words", lambda _, words, **__: written.append(words)
        )
        sheets_pdf(sheets)
    assert "Old: bars count from here" in written
    assert not any(re.search(r"\bfiles?\b|\.wav|channel", words) for words in written)
    assert "Hearing damage" in " ".join(written)


def test_the_sheet_says_which_channel_carries_what(plans):
    page = html.unescape(sheets_html([_sheet(plans[0], channels=())]))
    assert "music.wav is stereo, 1 left and 2 right, for the room" in page
    assert "click.wav and cue.wav have one channel each. Click and cue are for ears only" in page
    assert "all channels.wav" not in page
    page = html.unescape(sheets_html([_sheet(plans[0], channels=CHANNELS[::-1])]))
    assert "all channels.wav: 1 cue, 2 click, 3 music right, 4 music left." in page
    assert "the room hears the click" in page


def test_place_is_written_once(plans):
    places = [place for place, *_ in _sheet(plans[0]).table if place]
    assert len(places) == len(set(places))


def test_care_is_always_there_and_exposure_when_measured(plans):
    plain, measured = _sheet(plans[0]), _sheet(plans[0], in_ear_dba=94.0)
    assert "-12 dBFS" in plain.care[0]
    assert "1 h a day" in measured.care[1]


def test_clock_counts_minutes():
    assert clock(67.46) == "1:07.5"
    assert clock(59.97) == "1:00.0"


def test_the_clef_of_the_page_goes_through_the_points_of_the_printed_one():
    start, *curves = clef_path().removeprefix("M").split("C")
    ends = [curve.split()[-2:] for curve in (start, *curves)]
    drawn = [(float(x), -float(y)) for x, y in ends]
    printed = smooth_points()
    points = printed[:: (len(printed) - 1) // len(curves)]
    assert np.allclose(drawn, points, atol=1e-3)


# Lines of the treble staff from below: E4 G4 B4 D5 F5 (music theory, common practice).
LINES = [(64, 0.0), (67, 1.0), (71, 2.0), (74, 3.0), (77, 4.0)]


@pytest.mark.parametrize(("midi", "y"), LINES, ids=["E4", "G4", "B4", "D5", "F5"])
def test_notes_of_the_treble_lines_stand_on_them(midi, y):
    note = staff_note(midi, parse_key("C major"))
    assert note.y == y
    assert not note.ledger_lines


def test_middle_c_has_one_line_below_and_a5_one_above():
    assert staff_note(60, parse_key("C major")).ledger_lines == (-1.0,)
    assert staff_note(81, parse_key("C major")).ledger_lines == (5.0,)


def test_low_notes_are_written_an_octave_up_under_an_8(plans):
    note = staff_note(50, parse_key("D major"))
    assert note.is_octave_clef
    assert (note.name, note.y) == ("D3", -0.5)
    assert ">8<" in sheets_html([replace(_sheet(plans[0]), note=note)])
    assert ">8<" not in sheets_html([_sheet(plans[0])])


def test_spelling_follows_the_key():
    assert staff_note(66, parse_key("E major")).accidental == "♯"
    assert staff_note(66, parse_key("Db major")).accidental == "♭"


def test_titles_are_escaped(plans):
    page = sheets_html([_sheet(plans[0], outgoing=replace(OLD, title="<script>alert(1)</script>"))])
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_the_page_has_every_row_under_its_heading_and_the_care_below(plans):
    sheet = _sheet(plans[0], in_ear_dba=94.0)
    page = html.unescape(sheets_html([sheet]))
    heads = re.findall(r'<th scope="col">(\w+)</th>', page)
    assert heads == ["bar", "time", "who", "what"]
    rows = re.findall(
        r'<tr><td class="bar">(.*?)</td><td class="time">(.*?)</td><td class="who">(.*?)</td>'
        r'<td class="what">(.*?)</td></tr>',
        page,
    )
    assert tuple(rows) == sheet.table
    care = page.partition('<div class="care" role="note">')[2]
    assert all(words in care for words in sheet.care)
    assert "1 music left, 2 music right, 3 click, 4 cue" in page
    assert "Click and cue are for ears only" in page


@pytest.mark.parametrize(("midi", "y"), [*LINES, (60, -1.0)], ids=str)
def test_the_head_of_a_note_is_drawn_where_it_stands(plans, midi, y):
    note = staff_note(midi, parse_key("C major"))
    page = sheets_html([replace(_sheet(plans[0]), note=note)])
    (head,) = re.findall(r'<ellipse cx="6" cy="([-\d.]+)"', page)
    assert float(head) == -y  # down is positive in a drawing
    levels = [float(level) for level in re.findall(r'<line x1="\d" y1="([-\d.]+)"', page)]
    assert levels == [-0.0, -1.0, -2.0, -3.0, -4.0, *(-y for y in note.ledger_lines)]


def test_pdf_is_the_same_for_the_same_sheet_and_one_page_each(plans):
    sheet = _sheet(plans[0], outgoing=replace(OLD, title="Price $5 $6"))
    once, again = sheets_pdf([sheet]), sheets_pdf([sheet])
    assert once == again
    assert once.startswith(b"%PDF-")
    assert b"/Count 2" in sheets_pdf([sheet, sheet], paper="letter")


def test_sheet_prints_on_one_page_in_a_browser(plans, tmp_path, browser):
    page_file = tmp_path / "cue sheet.html"
    page_file.write_text(sheets_html([_sheet(plans[0], in_ear_dba=94.0)]), encoding="utf-8")
    page = browser.new_page()
    troubles = []
    page.on("console", lambda message: troubles.append(message.text))
    page.goto(page_file.as_uri())
    for paper in ("A4", "Letter"):
        assert page.pdf(format=paper).count(b"/Type /Page\n") == 1, paper
    staff = page.locator("svg.staff").bounding_box()
    page.close()
    assert not troubles
    assert staff["height"] > 50


@pytest.fixture(scope="module", name="long_sheets")
def _long_sheets(plans):
    """Sheets with names that are hard to fit, after the running order of an evening."""
    title = "Donaudampfschifffahrtsgesellschaftskapitänslied, the long version"
    old, new = replace(OLD, title=title), replace(NEW, title="A Song With Quite Some Words in It")
    rows = [
        FrontRow(clock="1:02:30", what=f"1. {title}", key="F# minor or A major", tempo="124 to 96",
                 starts="the whole band, on the beat"),
        FrontRow(clock="1:06:10", what="talk, 25 s, then a segue", is_song=False),
        FrontRow(clock="1:07:00", what="2. Short"),
    ]  # fmt: skip
    front = FrontPage(
        title="Harbour", summary="2 songs", rows=tuple(rows), notes=("A note.",), care=("Low.",)
    )
    sheet = _sheet(plans[0], outgoing=old, incoming=new, channels=CHANNELS, in_ear_dba=94.0)
    row = CueRow(bar=112, beat_in_bar=4.5, metre=4, time_s=640.0, who="Annemarie", what="sings")
    return sheets_html([replace(sheet, rows=(*sheet.rows, row))], front=front)


@pytest.mark.parametrize("width", [320, 360, 412])
def test_sheets_fit_a_phone_without_sideways_scrolling(long_sheets, tmp_path, browser, width):
    page_file = tmp_path / "cue sheets.html"
    page_file.write_text(long_sheets, encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 740})
    page.goto(page_file.as_uri())
    wide = page.evaluate(
        """() => [...document.querySelectorAll('body, body *')].filter(part => {
             const style = getComputedStyle(part);
             return part.getBoundingClientRect().right > innerWidth + 0.5
               || (part.scrollWidth > part.clientWidth + 1 && style.overflowX !== 'visible'
                   && style.position !== 'absolute');
           }).map(part => part.tagName + ' ' + part.className)"""
    )
    scrolls = page.evaluate("document.documentElement.scrollWidth > innerWidth")
    roles = page.get_by_role("main").count()
    page.close()
    assert wide == []
    assert not scrolls
    assert roles == 1


@pytest.mark.parametrize(("beat", "in_bar"), [(-0.5, 1.0), (0.0, 1.0), (1.0, 2.0), (4.5, 1.5)])
def test_what_is_before_the_first_bar_line_stands_on_its_beat_one(beat, in_bar, plans):
    """Nobody counts a beat naught."""
    row = cue_row(plans[0], beat, "band", "comes in")
    assert row.beat_in_bar == pytest.approx(in_bar)
