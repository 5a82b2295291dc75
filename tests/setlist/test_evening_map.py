"""The evening's tempo map, read back by a second library."""

import io
import math
from dataclasses import replace
from itertools import pairwise

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import OptionError
from segue.plan import plan_segue
from segue.setlist.tempo_map.evening_map import evening_map
from segue.setlist.tempo_map.evening_ruler import MOST_FIT_RATIO, fill_of, signatures
from segue.setlist.tempo_map.laid_songs import Crossing, PlayedSong, exit_s, hold_beat
from segue.stage.midi import score_bytes
from segue.stage.midi_score import TICKS_A_BEAT, tick_of
from tests.setlist.an_evening import RECIPES, TITLES, edges

BAR_TOLERANCE_S = 0.001  # what the rig's bars may be off
PAIRS = [(a, b) for a in RECIPES for b in RECIPES]


def parts(shelf, recipes=RECIPES[:2], *, free=((), ()), **tempos):
    """Songs and crossings of the invented evening."""
    both = edges(**tempos)
    songs = [PlayedSong(start=start, end=end) for start, end in both]
    crossings = []
    for n, name in enumerate(recipes):
        plan = None if name is None else plan_segue(shelf[name], both[n][1], both[n + 1][0])
        crossings.append(Crossing(plan=plan, free=free[n]))
    return songs, crossings


def read_back(evening):
    return pretty_midi.PrettyMIDI(io.BytesIO(score_bytes(evening.score)))


@pytest.mark.parametrize("recipes", PAIRS, ids=[f"{a}, {b}" for a, b in PAIRS])
def test_bars_of_every_join_are_where_its_plan_has_them(shelf, recipes):
    songs, ways = parts(shelf, recipes)
    evening = evening_map(songs, ways)
    read = read_back(evening)
    for way, join in zip(ways, evening.joins, strict=True):
        start_s = read.tick_to_time(tick_of(join.beat))
        assert start_s == pytest.approx(join.time_s, abs=BAR_TOLERANCE_S)
        for line in way.plan.bar_lines:
            seconds = read.tick_to_time(tick_of(join.beat) + tick_of(line.beat))
            want = join.time_s + way.plan.tempo.seconds_at(line.beat)
            assert seconds == pytest.approx(want, abs=BAR_TOLERANCE_S)


def test_a_songs_file_lies_once_on_the_clock(shelf):
    # Where its start is heard and where its end is heard must give the same file start.
    songs, ways = parts(shelf)
    evening = evening_map(songs, ways)
    entry = evening.songs[1].time_s - 0.1  # bar one of the invented song is at 0.1 s
    heard = songs[1].end.pulse.downbeats_s
    from_file = [evening.joins[1].time_s - entry - second for second in heard]
    assert min(abs(late_s) for late_s in from_file) < BAR_TOLERANCE_S


@given(
    first=st.floats(70, 180),
    middle=st.floats(70, 180),
    after=st.one_of(st.none(), st.floats(70, 180)),
)
def test_clock_of_the_file_never_strays_from_the_ruler(shelf, first, middle, after):
    songs, ways = parts(
        shelf,
        ("pad in the new key", "stop and count-in"),
        first_bpm=first,
        middle_bpm=middle,
        middle_end_bpm=after,
    )
    evening = evening_map(songs, ways)
    read = read_back(evening)
    seconds = [second for _, second in evening.score.ruler]
    assert seconds == sorted(seconds)
    for beat, second in evening.score.ruler:
        assert read.tick_to_time(tick_of(beat)) == pytest.approx(second, abs=BAR_TOLERANCE_S)


def test_a_tempo_that_is_another_at_the_end_is_written_where_the_end_was_heard(shelf):
    songs, ways = parts(shelf, middle_bpm=96.0, middle_end_bpm=104.0)
    evening = evening_map(songs, ways)
    note = next(n for n in evening.notes if "starts at 96 BPM and ends at 104" in n)
    bar = int(note.split("written at bar ")[1].split(",")[0])
    read = read_back(evening)
    bars = read.get_downbeats()
    beat_s = read.get_beats()
    after = beat_s[(beat_s >= bars[bar - 1] - 1e-6)][:5]
    assert 60 / (after[1] - after[0]) == pytest.approx(104.0, abs=0.01)
    before = beat_s[beat_s < bars[bar - 1] - 1e-6][-3:]
    assert 60 / (before[1] - before[0]) == pytest.approx(96.0, rel=MOST_FIT_RATIO)


def test_songs_of_one_tempo_say_nothing_of_a_change(shelf):
    assert not any("ends at" in note for note in evening_map(*parts(shelf)).notes)


def test_bars_of_a_reader_begin_where_the_bars_do(shelf):
    songs, ways = parts(shelf)
    evening = evening_map(songs, ways)
    bars = read_back(evening).get_downbeats()
    for way, join, song in zip(ways, evening.joins, evening.songs[1:], strict=True):
        for number, line in enumerate(way.plan.bar_lines):
            want = join.time_s + way.plan.tempo.seconds_at(line.beat)
            assert bars[join.bar - 1 + number] == pytest.approx(want, abs=2 * BAR_TOLERANCE_S)
        assert bars[song.bar - 1] == pytest.approx(song.time_s, abs=2 * BAR_TOLERANCE_S)


def test_keys_and_markers_follow_the_songs(shelf):
    evening = evening_map(*parts(shelf))
    content = score_bytes(evening.score)
    changes = pretty_midi.PrettyMIDI(io.BytesIO(content)).key_signature_changes
    # pretty_midi numbers keys 0-11 major and 12-23 minor, from C: E minor, F minor, D major.
    assert [change.key_number for change in changes] == [12 + 4, 12 + 5, 2]
    track = mido.MidiFile(file=io.BytesIO(content)).tracks[0]
    texts = [message.text for message in track if message.type == "marker"]
    for title in TITLES:
        assert any(f"{title}, bar one" in text for text in texts)
    assert sum("files of segue" in text for text in texts) == 2
    assert any("singer" in text for text in texts)


def test_clicks_of_all_joins_are_in_the_file(shelf):
    songs, ways = parts(shelf)
    evening = evening_map(songs, ways)
    drums = next(part for part in read_back(evening).instruments if part.is_drum)
    want = sorted(
        join.time_s + way.plan.tempo.seconds_at(hit.beat)
        for way, join in zip(ways, evening.joins, strict=True)
        for hit in way.plan.click
    )
    assert [note.start for note in drums.notes] == pytest.approx(want, abs=BAR_TOLERANCE_S)


def test_a_song_too_short_for_two_ways_is_told(shelf):
    songs, ways = parts(shelf)
    opening = replace(songs[1].start.opening, first_downbeat_s=130.0)
    songs[1] = replace(songs[1], start=replace(songs[1].start, opening=opening))
    with pytest.raises(OptionError, match=r"Second Wind is left at .* too short for two segues"):
        evening_map(songs, ways)


def test_a_plain_stop_and_its_free_time_are_on_the_ruler(shelf):
    free = (("talk", 20.0), ("changeover", 31.0))
    songs, ways = parts(shelf, (RECIPES[0], None), free=((), free))
    evening = evening_map(songs, ways)
    # Bar one of the invented song is 0.1 s into its file.
    assert evening.songs[2].time_s - evening.joins[1].time_s == pytest.approx(51.1)
    read = read_back(evening)
    names = {mark.name: mark for mark in evening.markers}
    talk, change = names["talk, 20 s, free time"], names["changeover, 31 s, free time"]
    assert change.time_s - talk.time_s == pytest.approx(20.0)
    for mark in evening.markers:
        assert read.tick_to_time(tick_of(mark.beat)) == pytest.approx(
            mark.time_s, abs=BAR_TOLERANCE_S
        )


def with_lead_in(song, lead_in_s, *, kind="on the beat", pickup_beats=0.0):
    """A song whose bar one is later in its file, with all that was heard of its start."""
    start = song.start
    by_s = lead_in_s - start.opening.first_downbeat_s
    pulse = replace(
        start.pulse,
        beats_s=tuple(second + by_s for second in start.pulse.beats_s),
        downbeats_s=tuple(second + by_s for second in start.pulse.downbeats_s),
    )
    opening = replace(
        start.opening, first_downbeat_s=lead_in_s, kind=kind, pickup_beats=pickup_beats
    )
    return replace(song, start=replace(start, pulse=pulse, opening=opening))


@pytest.mark.parametrize("lead_in_s", [0.1, 1.3, 12.0], ids=["none", "pick-up", "intro"])
@pytest.mark.parametrize("free", [(("talk", 1.0), ("changeover", 40.0)), ()], ids=["", "bare"])
def test_a_songs_file_starts_when_the_changeover_is_over(shelf, lead_in_s, free):
    songs, ways = parts(shelf, (RECIPES[0], None), free=((), free))
    songs[2] = with_lead_in(songs[2], lead_in_s)
    evening = evening_map(songs, ways)
    names = {mark.name: mark for mark in evening.markers}
    # The middle song's file is over where it would be if it was played on from its entry.
    old_file_s = evening.songs[1].time_s - 0.1  # bar one of the invented song is at 0.1 s
    over_s = old_file_s + songs[1].end.duration_s
    for name, seconds in free:
        assert names[f"{name}, {seconds:.0f} s, free time"].time_s == pytest.approx(over_s)
        over_s += seconds
    assert evening.songs[2].time_s == pytest.approx(over_s + lead_in_s)
    told = names.get(f"file of {TITLES[2]} starts")
    assert (told is not None) == (lead_in_s > 0.5)
    if told is not None:
        assert told.time_s == pytest.approx(over_s)
    read = read_back(evening)
    for mark in evening.markers:
        there_s = read.tick_to_time(tick_of(mark.beat))
        assert there_s == pytest.approx(mark.time_s, abs=BAR_TOLERANCE_S)
    # Beats of the lead-in are the new song's own: 112 BPM.
    beats = read.get_beats()
    n_beats = int(lead_in_s * 112 / 60)
    before = beats[(beats <= evening.songs[2].time_s + BAR_TOLERANCE_S)][-n_beats - 1 :]
    for beat, after in pairwise(before):
        assert after - beat == pytest.approx(60 / 112, abs=BAR_TOLERANCE_S)


def test_a_segue_that_is_only_planned_keeps_the_times_of_its_plan(shelf):
    free = (("talk bed (not made yet)", 13.0), ("changeover", 9.0))
    songs, ways = parts(shelf, (RECIPES[0], None), free=((), free))
    songs[2] = with_lead_in(songs[2], 12.0)
    leave_s = exit_s(songs[1].end, None) - 4.0
    ways[1] = replace(ways[1], leave_s=leave_s, enter_s=12.0)
    evening = evening_map(songs, ways)
    left_s = evening.songs[1].time_s - 0.1 + leave_s
    assert evening.songs[2].time_s == pytest.approx(left_s + 22.0)
    assert not any("file of" in mark.name for mark in evening.markers)


@pytest.mark.parametrize("rings_s", [0.0, 0.3, 3.1, 31.0])
def test_the_map_ends_with_the_sound_of_the_last_song(shelf, rings_s):
    songs, ways = parts(shelf)
    end = songs[2].end
    songs[2] = replace(songs[2], end=replace(end, duration_s=end.duration_s + rings_s))
    evening = evening_map(songs, ways)
    file_s = evening.songs[2].time_s - 0.1
    end_s = file_s + songs[2].end.duration_s
    assert songs[2].end.duration_s - exit_s(songs[2].end, None) == pytest.approx(rings_s)
    assert evening.score.ruler[-1][1] == pytest.approx(end_s)
    assert evening.markers[-1].name == "end of the evening"
    file = mido.MidiFile(file=io.BytesIO(score_bytes(evening.score)))
    assert file.length == pytest.approx(end_s, abs=BAR_TOLERANCE_S)
    # The song's last bars keep their tempo, and the metre does not change for its last sound.
    read, last = read_back(evening), math.floor(evening.score.end_beat)
    beats = [read.tick_to_time(n * TICKS_A_BEAT) for n in range(last - 11, last + 1)]
    for beat, after in pairwise(beats):
        assert after - beat == pytest.approx(60 / 112, abs=BAR_TOLERANCE_S)
    assert evening.score.metres[-1][1:] == (3, 4)


def test_a_page_whose_clock_starts_earlier_is_told(shelf):
    songs, ways = parts(shelf)
    words = "The clock of the page starts with the file of First Light, 12.0 s before bar 1"
    assert not any(words[:40] in note for note in evening_map(songs, ways).notes)
    songs[0] = with_lead_in(songs[0], 12.0)
    assert any(note.startswith(words) for note in evening_map(songs, ways).notes)


def test_a_first_song_that_sounds_before_its_bar_one_is_told(shelf):
    songs, ways = parts(shelf)
    assert not any("before bar 1 of this file" in note for note in evening_map(songs, ways).notes)
    songs[0] = with_lead_in(songs[0], 2.0, kind="pick-up", pickup_beats=2.0)
    before_s = 2.0 - songs[0].start.opening.sound_start_s
    words = f"First Light sounds {before_s:.1f} s before bar 1 of this file."
    assert words in evening_map(songs, ways).notes


def test_free_time_in_a_segue_is_before_the_new_songs_pick_up(shelf):
    free = ((("changeover", 20.0),), ())
    songs, ways = parts(shelf, ("stop and count-in", RECIPES[1]), free=free)
    songs[1] = with_lead_in(songs[1], 1.3, kind="pick-up", pickup_beats=2.0)
    plan = ways[0].plan
    evening = evening_map(songs, ways)
    mark = next(mark for mark in evening.markers if "changeover" in mark.name)
    # Bar one is where the page has it: all music and all free time after the way begins.
    start_s = evening.joins[0].time_s
    bar_one_s = start_s + plan.tempo.seconds_at(plan.entry_beat) + 20.0
    assert evening.songs[1].time_s == pytest.approx(bar_one_s)
    # Two bars of 4/4 at 96 BPM are counted in after the free time; the pick-up is in the second.
    assert bar_one_s - (mark.time_s + 20.0) == pytest.approx(2 * 4 * 60 / 96)
    drums = next(part for part in read_back(evening).instruments if part.is_drum)
    held = [n for n in drums.notes if mark.time_s - 0.01 < n.start < mark.time_s + 20.0 - 0.01]
    assert not held
    assert any("before the count-in or the pick-up" in note for note in evening.notes)


def test_free_time_in_a_segue_waits_before_the_count_in_and_is_told(shelf):
    songs, ways = parts(shelf, free=((("talk", 20.0),), ()))
    with_talk, without = evening_map(songs, ways), evening_map(*parts(shelf))
    assert with_talk.songs[1].time_s - without.songs[1].time_s == pytest.approx(20.0)
    assert with_talk.songs[2].time_s - without.songs[2].time_s == pytest.approx(20.0)
    (note,) = [note for note in with_talk.notes if "hold them" in note]
    assert "before the count-in or the pick-up to its bar one for the 20 s" in note


@pytest.mark.parametrize("recipe", RECIPES)
@pytest.mark.parametrize("talk_s", [20.0, 47.5])
def test_what_comes_after_the_wait_is_later_by_the_length_of_the_talk(shelf, recipe, talk_s):
    names = (recipe, RECIPES[1])
    songs, ways = parts(shelf, names, free=((("talk", talk_s),), ()))
    plain, late = evening_map(*parts(shelf, names)), evening_map(songs, ways)
    talk = next(mark for mark in late.markers if mark.name.startswith("talk, "))
    held_s = talk.time_s - 1e-6
    said = [mark for mark in late.markers if mark != talk]
    assert [mark.name for mark in said] == [mark.name for mark in plain.markers]
    assert any(mark.time_s < held_s for mark in plain.markers)
    read = read_back(late)
    for before, mark in zip(plain.markers, said, strict=True):
        by_s = talk_s * (before.time_s >= held_s)
        assert mark.time_s - before.time_s == pytest.approx(by_s, abs=BAR_TOLERANCE_S), mark.name
        there_s = read.tick_to_time(tick_of(mark.beat))
        assert there_s == pytest.approx(mark.time_s, abs=BAR_TOLERANCE_S), mark.name
    notes = [
        sorted((n.start, n.pitch) for part in read_back(e).instruments for n in part.notes)
        for e in (plain, late)
    ]
    at_s = held_s - BAR_TOLERANCE_S  # read from the file, whose clock may be that much early
    moved = sorted((start + talk_s * (start >= at_s), pitch) for start, pitch in notes[0])
    assert [n[0] for n in notes[1]] == pytest.approx([n[0] for n in moved], abs=BAR_TOLERANCE_S)


def test_all_markers_of_an_evening_are_there_in_order(shelf):
    names = [mark.name for mark in evening_map(*parts(shelf)).markers]
    assert names == [
        "First Light, bar one",
        "files of segue 1 start",
        "segue, click starts",
        "Second Wind, bar one",
        "singer",
        "files of segue 2 start",
        "segue",
        "click starts",
        "Third Rail, bar one",
        "end of the evening",
    ]
    assert evening_map(*parts(shelf)).score.markers[-1][1] == "end of the evening"


@pytest.mark.parametrize("longer_s", [30.0, -15.0], ids=["longer", "shorter"])
def test_a_length_that_is_given_moves_what_comes_after(shelf, longer_s):
    songs, ways = parts(shelf)
    songs[1] = replace(songs[1], longer_s=longer_s)
    moved, plain = evening_map(songs, ways), evening_map(*parts(shelf))
    assert moved.joins[1].time_s - plain.joins[1].time_s == pytest.approx(longer_s)
    assert any("as its length says" in note for note in moved.notes)


def test_a_length_too_short_for_the_heard_edges_is_told(shelf):
    songs, ways = parts(shelf)
    songs[1] = replace(songs[1], longer_s=-120.0)
    evening = evening_map(songs, ways)
    assert any("120 s shorter than its file, more than" in note for note in evening.notes)
    seconds = [second for _, second in evening.score.ruler]
    assert seconds == sorted(seconds)


@pytest.mark.parametrize(
    ("pickup_beats", "octave", "bars"),
    [(0.0, 1.0, 0), (2.0, 1.0, 1), (4.5, 1.0, 2), (4.5, 2.0, 1), (4.5, 0.5, 3)],
)
def test_files_wait_at_the_bar_line_before_a_pick_up(shelf, pickup_beats, octave, bars):
    songs, ways = parts(shelf, ("pad in the new key", None))
    plan = replace(ways[0].plan, click=(), singer_beat=None, tempo_octave=octave)
    start = with_lead_in(songs[1], 4.0, kind="pick-up", pickup_beats=pickup_beats).start
    assert plan.entry_beat - hold_beat(plan, start) == pytest.approx(4 * bars)


def test_a_way_out_is_where_its_song_plays_beat_0(shelf):
    songs, ways = parts(shelf)
    layer = next(x for x in ways[0].plan.layers if getattr(x, "song", "") == "outgoing")
    later = [point for point in layer.time_map if 0 < point.beat <= ways[0].plan.exit_beat]
    for point in later:
        out_s = point.source_s - ways[0].plan.tempo.seconds_at(point.beat)
        assert out_s == pytest.approx(exit_s(songs[0].end, ways[0].plan), abs=BAR_TOLERANCE_S)


@given(seconds=st.floats(0.0, 600.0), bpm=st.floats(40, 240), metre=st.integers(2, 7))
def test_a_fill_takes_its_time_and_its_tempo_is_near(seconds, bpm, metre):
    fill = fill_of(seconds, bpm=bpm, metre=metre)
    if fill.n_beats == 0:
        assert seconds * bpm / 60 <= 0.5
        return
    assert fill.n_beats * 60 / fill.bpm == pytest.approx(seconds)
    if fill.short_bar_beats == 0 and fill.n_beats > 100 * metre:
        assert fill.bpm == pytest.approx(bpm, rel=MOST_FIT_RATIO)
    else:
        assert abs(fill.n_beats - seconds * bpm / 60) <= max(0.5, fill.n_beats * MOST_FIT_RATIO)


@given(st.lists(st.tuples(st.integers(1, 7), st.integers(0, 5)), min_size=1, max_size=12))
def test_signatures_bring_a_reader_to_every_bar_line(lengths):
    bars, tick = [], 0
    for metre, cut in lengths:
        bars.append((tick, metre))
        tick += max(metre * TICKS_A_BEAT - cut * TICKS_A_BEAT // 8, TICKS_A_BEAT // 8)
    found = list(signatures(bars, tick))
    places = {beat: (numerator, value) for beat, numerator, value in found}
    here, lines = (4, 4), []
    position = 0.0
    while position < tick / TICKS_A_BEAT - 1e-9:
        here = places.get(position, here)
        lines.append(round(position * TICKS_A_BEAT))
        position += here[0] * 4 / here[1]
    assert lines == [start for start, _ in bars]
