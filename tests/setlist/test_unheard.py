"""A song without a key and without a pulse: every page, sheet, picture and file says the same.

The second of three songs is speech: F minor and 96 BPM are what was guessed for it, and nobody
may read them anywhere.
"""

import html
import io
import re
from dataclasses import replace

import mido
import pytest

from segue.cli.set_tables import evening_report, print_evening
from segue.setlist.show.evening_drawing import Label, Stroke, evening_drawing
from segue.setlist.show.evening_pack import front_page, map_of, sheets_of
from segue.setlist.show.evening_page import evening_page_text, write_evening_picture
from segue.setlist.show.rows import rows_of
from segue.setlist.tempo_map.evening_map import evening_map
from segue.setlist.tempo_map.laid_songs import Crossing, PlayedSong
from segue.stage.midi import score_bytes
from segue.stage.sheet_pages import sheets_html, sheets_pdf
from tests.plan.song_facts import unheard
from tests.setlist.an_evening import TITLES, edges, evening_of

GUESSES = re.compile(r"F minor|\b96(\.0+)? ?(BPM|→)|→ 96\b|>96<")


def with_speech(*, key=True, pulse=True):
    """The invented evening's edges, of which the middle song is speech."""
    both = edges()
    both[1] = tuple(unheard(facts, key=key, pulse=pulse) for facts in both[1])
    return both


@pytest.fixture(name="evening")
def _evening(shelf):
    made = evening_of(shelf, both=with_speech())
    joins = tuple(replace(join, key_distance=None, tempo_ratio=None) for join in made.joins)
    return replace(made, joins=joins)


def sheet_page(evening):
    rows = rows_of(evening)
    return sheets_html(sheets_of(rows), front=front_page(rows))


def pdf_words(evening, monkeypatch):
    written = []
    monkeypatch.setattr(
        "segue.stage.sheet_pages._Page._words", lambda _, words, **__: written.append(words)
    )
    rows = rows_of(evening)
    sheets_pdf(sheets_of(rows), front=front_page(rows))
    return "\n".join(written)


def cli_table(evening, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    print_evening(evening)
    return capsys.readouterr().out


def test_the_guesses_are_found_where_the_song_was_heard(shelf, tmp_path, capsys, monkeypatch):
    """What the other tests look for is there when the same song has a key and a pulse."""
    heard = evening_of(shelf)
    for text in (
        evening_page_text(tmp_path, rows_of(heard)),
        sheet_page(heard),
        pdf_words(heard, monkeypatch),
        cli_table(heard, capsys, monkeypatch),
    ):
        assert GUESSES.search(text)


def test_page_sheets_and_table_say_none_heard(evening, tmp_path, capsys, monkeypatch):
    for text in (
        evening_page_text(tmp_path, rows_of(evening)),
        sheet_page(evening),
        pdf_words(evening, monkeypatch),
        cli_table(evening, capsys, monkeypatch),
    ):
        assert "none heard" in text
        assert "free time" in text
        assert not GUESSES.search(text), GUESSES.search(text)


def test_rows_of_a_song_that_is_half_heard(shelf):
    both = edges()
    both[1] = (both[1][0], unheard(both[1][1]))
    row = rows_of(evening_of(shelf, both=both)).songs[1]
    assert row.key_words == "F minor → none heard"
    assert row.tempo_words == "96 → free time"


def test_the_unit_is_said_anew_only_beside_numbers(evening, tmp_path):
    """On a phone the heading is gone: 'BPM' belongs behind '124', and not behind 'free time'."""
    page = evening_page_text(tmp_path, rows_of(evening))
    cells = re.findall(r'<td class="(number|number bpm)">([^<]+)</td>\n<td class="number">', page)
    assert cells == [("number bpm", "124"), ("number", "free time"), ("number bpm", "112")]


def test_json_of_the_set_tells_the_same_words(evening):
    song = evening_report(evening)["songs"][1]
    assert (song["keys"], song["tempos_bpm"]) == ("none heard", "free time")


def test_joins_say_which_song_has_no_key(evening, tmp_path):
    page = html.unescape(evening_page_text(tmp_path, rows_of(evening)))
    assert "No key was heard at the start of 'Second Wind'" in page
    assert "No key was heard at the end of 'Second Wind'" in page
    sheets = sheets_of(rows_of(evening))
    assert [sheet.key for sheet in sheets] == ["E minor → none heard", "none heard → D major"]
    assert [sheet.tempo for sheet in sheets] == ["124 BPM → free time", "free time → 112 BPM"]


@pytest.mark.parametrize(("layout", "n_lines"), [("broad", 2), ("file", 6)])
def test_picture_has_no_key_and_no_line_for_it(evening, layout, n_lines):
    drawing = evening_drawing(rows_of(evening), layout)
    words = [shape.words for shape in drawing.shapes if isinstance(shape, Label)]
    assert {"124", "112", "E minor", "D major"} <= set(words)
    assert not any(GUESSES.search(f">{label}<") for label in words)
    looks = [shape.look for shape in drawing.shapes if isinstance(shape, Stroke)]
    # In the file there is a line for each half of a song, too, which shows the key.
    assert looks.count("tempo") == n_lines
    moves = [shape for shape in drawing.shapes if shape.look == "tempo moves"]
    assert all(shape.x0 == shape.x1 for shape in moves)  # within a song, from half to half


def test_the_drawings_are_told_in_words_too(evening, tmp_path):
    page = evening_page_text(tmp_path, rows_of(evening))
    told = (
        "First Light in E minor, Second Wind without a key that was heard, Third Rail in D major."
    )
    assert page.count(told) == 1


def test_the_file_is_drawn_with_gaps_in_its_lines(evening, tmp_path):
    write_evening_picture(tmp_path / "evening.png", rows_of(evening))
    assert (tmp_path / "evening.png").read_bytes().startswith(b"\x89PNG")


def test_tempo_map_has_no_signature_for_it(evening):
    made = map_of(evening)
    assert [str(key) for _, key in made.score.keys] == ["E minor", "D major"]
    track = mido.MidiFile(file=io.BytesIO(score_bytes(made.score))).tracks[0]
    signatures = [message.key for message in track if message.type == "key_signature"]
    assert signatures == ["Em", "D"]
    names = [message.text for message in track if message.type == "marker"]
    assert any("Second Wind starts" in name for name in names)
    assert not any("Second Wind, bar one" in name for name in names)
    told = "No key was heard at the start of Second Wind: it has no key signature here."
    assert made.notes.count(told) == 1
    about = [note for note in made.notes if note.startswith("Second Wind")]
    assert any("has no clear pulse: its bars are a guess" in note for note in about)
    assert not any("if its first tempo holds" in note or "ends at" in note for note in about)


def test_a_first_song_without_a_key_has_no_signature_before_the_second():
    both = with_speech()
    songs = [PlayedSong(start=start, end=end) for start, end in both[1:]]
    made = evening_map(songs, [Crossing(plan=None)])
    ((beat, key),) = made.score.keys
    assert (beat, str(key)) == (made.songs[1].beat, "D major")
    assert any(name == f"{TITLES[1]} starts" for _, name in made.score.markers)


def test_drums_have_a_tempo_and_no_key(shelf):
    evening = evening_of(shelf, both=with_speech(pulse=False))
    row = rows_of(evening).songs[1]
    assert (row.key_words, row.tempo_words) == ("none heard", "96")
    sheets = sheets_of(rows_of(evening))
    assert [sheet.tempo for sheet in sheets] == ["124 → 96 BPM", "96 → 112 BPM"]
    assert [str(key) for _, key in map_of(evening).score.keys] == ["E minor", "D major"]


@pytest.mark.parametrize(("key", "name"), [("F minor", "G#4"), ("Ab major", "Ab4")])
def test_first_note_is_spelled_alike_on_front_page_and_sheet(shelf, key, name):
    """As in the key of the song before, in which the join stays; F minor is only a guess."""
    from segue.music.key import parse_key

    both = with_speech()
    start, end = both[1]
    both[1] = (replace(start, first_note=replace(start.first_note, midi=68.0)), end)
    if key != "F minor":
        both[0] = tuple(
            replace(facts, key=replace(facts.key, key=parse_key(key))) for facts in both[0]
        )
    rows = rows_of(evening_of(shelf, both=both))
    assert rows.songs[1].starts.endswith(f"Ada on {name}")
    assert sheets_of(rows)[0].note.name == name
