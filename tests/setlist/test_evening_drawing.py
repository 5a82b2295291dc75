"""The drawing of an evening: what stands where, and what each shape means."""

from dataclasses import replace
from itertools import pairwise

import pytest

from segue.setlist.show.evening_drawing import Box, Label, Stroke, evening_drawing
from segue.setlist.show.evening_page import _legend, write_evening_picture
from segue.setlist.show.rows import rows_of
from tests.setlist.an_evening import evening_of

LAYOUTS = ("broad", "file")


@pytest.fixture(name="rows")
def _rows(shelf):
    return rows_of(evening_of(shelf))


def looks(drawing, look, kind=object):
    return [shape for shape in drawing.shapes if isinstance(shape, kind) and shape.look == look]


def with_stop(shelf):
    """The evening with a plain stop and talk before its second song."""
    evening = evening_of(shelf)
    stop = replace(evening.joins[0], is_segue=False, folder="", document=None, talk_s=25.0)
    return rows_of(replace(evening, joins=(stop, evening.joins[1])))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_songs_and_what_is_between_them_lie_end_to_end_in_time(rows, layout):
    drawing = evening_drawing(rows, layout)
    boxes = [*looks(drawing, "song"), *looks(drawing, "join")]
    spans = sorted((box.x, box.width) for box in boxes)
    assert len(spans) == 5
    for (start, length), (following, _) in pairwise(spans):
        assert start + length == pytest.approx(following)
    px_a_second = sum(length for _, length in spans) / rows.evening.running_s
    lengths_s = sorted(song.end_s - song.start_s for song in rows.evening.songs)
    drawn = sorted(box.width / px_a_second for box in looks(drawing, "song"))
    assert drawn == pytest.approx(lengths_s)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_stop_with_talk_looks_other_than_a_segue(shelf, layout):
    drawing = evening_drawing(with_stop(shelf), layout)
    assert (len(looks(drawing, "free")), len(looks(drawing, "join"))) == (1, 1)


def test_the_legend_names_what_is_drawn_and_nothing_else(shelf, rows):
    def told(rows):
        shapes = _legend(rows, evening_drawing(rows, "file"))
        return [shape.words for shape in shapes if isinstance(shape, Label)]

    assert told(rows) == ["Friday", "segue", "the line at 15:00 is the end of the slot"]
    stopped = told(rows_of(replace(with_stop(shelf).evening, slot_s=None)))
    assert stopped == ["Friday", "segue", "stop, talk, changeover"]


def test_in_the_legend_nothing_lies_on_its_words(shelf):
    """A letter is at least 5 px wide, at the size of the words that a picture of 900 px has."""
    rows = with_stop(shelf)
    line = list(_legend(rows, evening_drawing(rows, "file")))[1:]
    ends = [s.x + (5.0 * len(s.words) if isinstance(s, Label) else s.width) for s in line]
    assert len(line) > 3
    assert all(end < after.x for end, after in zip(ends, line[1:], strict=False))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_energy_is_as_long_as_its_share_of_five(rows, layout):
    drawing = evening_drawing(rows, layout)
    lane = looks(drawing, "lane")[-1]
    bars = [box.height for box in looks(drawing, "energy")]
    assert bars == pytest.approx([lane.height * n / 5 for n in (2, 3, 4)])


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("n_letters", [1, 6, 12, 20, 40, 90])
def test_a_title_never_runs_out_of_its_song(rows, layout, n_letters):
    title = ("Copper Wire Morning and the Low Tide " * 3)[:n_letters]
    songs = tuple(replace(song, title=title) for song in rows.evening.songs)
    shortest = replace(songs[1], end_s=songs[1].start_s + 2.0)
    for shown in (songs, (songs[0], shortest, songs[2])):
        drawing = evening_drawing(rows_of(replace(rows.evening, songs=shown)), layout)
        boxes = looks(drawing, "song", Box)
        for song, box in zip(shown, boxes, strict=True):
            told = [x for x in drawing.shapes if isinstance(x, Label) and x.x == box.x + 4]
            told = [x.words for x in told if box.y < x.y < box.y + box.height]
            assert all(7.0 * len(words) <= box.width for words in told)
            whole = f"{song.number} {title}"
            if 7.0 * len(whole) <= box.width - 4:
                assert told == [whole]
            elif told and told != [f"{song.number}"]:
                assert told[0].endswith("…")
                assert whole.startswith(told[0][:-1])
                # as much of it as there is room for, but for a sign and a space
                assert 7.0 * (len(told[0]) + 3) > box.width - 4


def test_times_are_written_at_even_steps_and_at_most_a_dozen(rows):
    for minutes in (4, 15, 45, 130, 290):
        evening = rows.evening
        scale = 60 * minutes / evening.running_s
        songs = tuple(
            replace(song, start_s=scale * song.start_s, end_s=scale * song.end_s)
            for song in evening.songs
        )
        joins = tuple(
            replace(join, start_s=scale * join.start_s, end_s=scale * join.end_s)
            for join in evening.joins
        )
        long = rows_of(replace(evening, songs=songs, joins=joins, slot_s=None))
        clocks = [
            shape
            for shape in evening_drawing(long, "file").shapes
            if isinstance(shape, Label) and ":" in shape.words and shape.look == "soft"
        ]
        assert 3 <= len(clocks) <= 13
        gaps = {round(b.x - a.x, 3) for a, b in pairwise(clocks)}
        assert len(gaps) == 1
        assert clocks[0].words == "0:00"


def test_faster_is_higher(rows):
    lines = looks(evening_drawing(rows, "broad"), "tempo", Stroke)
    across = [-line.y0 for line in lines]
    by_tempo = sorted(range(3), key=lambda n: rows.songs[n].start_bpm)
    assert sorted(range(3), key=lambda n: across[n]) == by_tempo


def test_a_small_step_of_tempo_does_not_look_like_a_leap(rows):
    def step_px(bpm):
        songs = tuple(
            replace(song, start_bpm=b, end_bpm=b) for song, b in zip(rows.songs, bpm, strict=True)
        )
        lines = looks(evening_drawing(replace(rows, songs=songs), "broad"), "tempo", Stroke)
        return abs(lines[0].y0 - lines[1].y0)

    lane = looks(evening_drawing(rows, "broad"), "lane")[0]
    assert step_px((120.0, 122.0, 121.0)) < 0.1 * lane.height
    assert step_px((90.0, 130.0, 110.0)) > 0.5 * lane.height


def test_keys_a_fifth_apart_are_neighbours_in_the_file(rows):
    """C and G and their relative minors are near each other, F sharp is far from all of them."""

    def heights(*keys):
        songs = tuple(
            replace(song, keys=(key,), start_bpm=None, end_bpm=None)
            for song, key in zip(rows.songs, keys, strict=True)
        )
        drawing = evening_drawing(replace(rows, songs=songs), "file")
        return [line.y0 for line in looks(drawing, "tempo", Stroke)][::2]

    c, g, far = heights("C major", "G major", "F# major")
    assert 0 < c - g < 0.3 * (g - far)
    c, a, _ = heights("C major", "A minor", "F# major")
    assert 0 < c - a < c - g


def test_boxes_and_words_stay_inside(shelf, rows):
    for layout in LAYOUTS:
        for shown in (rows, with_stop(shelf)):
            drawing = evening_drawing(shown, layout)
            for box in (shape for shape in drawing.shapes if isinstance(shape, Box)):
                assert box.width >= 0
                assert box.height >= 0
                assert -0.01 <= box.x <= box.x + box.width <= drawing.width + 0.01
                assert -0.01 <= box.y <= box.y + box.height <= drawing.height + 0.01


def test_the_file_is_the_same_for_the_same_evening(rows, tmp_path):
    one, other = tmp_path / "one.png", tmp_path / "other.png"
    write_evening_picture(one, rows)
    write_evening_picture(other, rows)
    assert one.read_bytes() == other.read_bytes()
    write_evening_picture(other, rows_of(replace(rows.evening, title="Saturday")))
    assert one.read_bytes() != other.read_bytes()


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_lane_for_drive_is_drawn_where_somebody_said_any(rows, layout):
    def with_drive(drive):
        songs = tuple(replace(song, energy=drive) for song in rows.evening.songs)
        return evening_drawing(rows_of(replace(rows.evening, songs=songs)), layout)

    said, unsaid = with_drive(3), with_drive(None)
    captions = [{s.words for s in d.shapes if isinstance(s, Label)} for d in (said, unsaid)]
    assert captions[0] - captions[1] == {"drive"}
    assert len(looks(said, "energy")) == len(rows.songs)
    assert unsaid.height < said.height
    lowest = max(s.y + s.height for s in unsaid.shapes if isinstance(s, Box))
    assert lowest <= unsaid.height
