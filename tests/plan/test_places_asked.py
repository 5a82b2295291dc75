"""Where a musician wants songs left and entered: how it is read, and what becomes of it."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.cli.options import LONGEST_EDGE_S
from segue.errors import OptionError
from segue.plan import Given, plan_segue, suitability
from segue.plan.layer import SongLayer
from segue.plan.places_asked import MOST_READ_S, end_as_asked, places_asked, start_as_asked
from segue.plan.timeline import timeline
from segue.recipes import all_recipes
from tests.plan import song_facts
from tests.plan.song_facts import unheard
from tests.plan.test_tempo_spans import recipe_of

BEAT_S = 60.0 / 124.0


def ending(**given_facts):
    """From 100 s on, 16 bars of 4 at 124 BPM, with a last chord in its last bar but one."""
    facts = song_facts.end_facts(**given_facts)
    line_s = 100.0 + 60 * BEAT_S
    marks = {"last_bar_line_s": line_s, "last_chord_s": line_s - 4 * BEAT_S}
    return replace(facts, ending=replace(facts.ending, **marks))


@pytest.mark.parametrize(
    ("text", "kind", "number"),
    [
        ("3:12", "time", 192),
        ("1:02:03.5", "time", 3723.5),
        ("0:08", "time", 8),
        ("192s", "time", 192),
        ("192.5 s", "time", 192.5),
        ("bar -8", "bar", -8),
        ("Bar  -1", "bar", -1),
        ("bar −4", "bar", -4),  # as a text editor may write a minus
        ("last chord", "last chord", 0),
        (" END ", "end", 0),
    ],
)
def test_places_to_leave_are_read_as_people_write_them(text, kind, number):
    place = places_asked(leave=text).leave
    assert (place.kind, place.number) == (kind, number)


@pytest.mark.parametrize(
    ("text", "kind", "number"),
    [
        ("0:08", "time", 8),
        ("8s", "time", 8),
        ("bar 9", "bar", 9),
        ("bar +2", "bar", 2),
        ("first note", "first note", 0),
        ("first note - 2 bars", "first note", 2),
        ("First Note -1 bar", "first note", 1),
    ],
)
def test_places_to_enter_are_read_as_people_write_them(text, kind, number):
    place = places_asked(enter=text).enter
    assert (place.kind, place.number) == (kind, number)


LEAVE_WAYS = 'write a time such as 3:12 or 192s, "bar -8", "last chord" or end.'
ENTER_WAYS = 'write a time such as 0:08 or 8s, "bar 9" or "first note - 2 bars".'
FROM_THE_END = (
    'bars of the old song are counted back from its last one, which is "bar -1"; write "bar -8".'
)
FROM_THE_START = (
    'bars of the new song are counted from its first one, which is "bar 1"; write "bar 9".'
)
NO_TIME = "is no time: minutes and seconds go up to 59, as in 3:12."


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        *(
            ({"leave": text}, f"--leave '{text}' is no place to leave a song: {LEAVE_WAYS}")
            for text in (
                "", "soon", "192", "-5s", "3:1:2:3", "3:", ":12", "bar", "bar eight", "bar -8.5",
                "first note", "last", "chord", "nan", "3m12s", "-3:12", "bar -99999",
                "end - 2 bars",
            )
        ),
        *(
            ({"enter": text}, f"--enter '{text}' is no place to enter a song: {ENTER_WAYS}")
            for text in (
                "", "soon", "8", "-8s", "bar", "bar nine", "bar 9.5", "end", "last chord",
                "first note - bars", "first note + 2 bars", "first note - 2 beats", "note", "inf",
            )
        ),
        *(({"leave": text}, f"--leave '{text}': {FROM_THE_END}") for text in ("bar 0", "bar 8")),
        *(({"enter": text}, f"--enter '{text}': {FROM_THE_START}") for text in ("bar 0", "bar -2")),
        ({"leave": "3:72"}, f"--leave '3:72' {NO_TIME}"),
        ({"leave": "1:60:00"}, f"--leave '1:60:00' {NO_TIME}"),
        ({"enter": "0:60"}, f"--enter '0:60' {NO_TIME}"),
        *(
            ({"n_bars": n}, f"--bars {n} is outside 1 to 64 bars: keep within.")
            for n in (-1, 0, 65, 9999)
        ),
        (
            {"exactly": True},
            "--exactly keeps a place where you want it: say which with --leave or --enter.",
        ),
    ],
)  # fmt: skip
def test_what_is_no_place_is_told_in_one_sentence(asked, sentence):
    with pytest.raises(OptionError) as told:
        places_asked(**asked)
    assert str(told.value) == sentence


def left(facts, text, *, exactly=False):
    return end_as_asked(facts, places_asked(leave=text, exactly=exactly))


def entered(facts, text, *, exactly=False):
    return start_as_asked(facts, places_asked(enter=text, exactly=exactly))


@given(at_s=st.floats(104.0, 130.0), exactly=st.booleans())
def test_a_time_moves_by_half_a_bar_at_most_and_says_so(at_s, exactly):
    end = left(ending(), f"{at_s:.3f}s", exactly=exactly)
    moved_s = abs(end.grid.seconds_at(end.left_index) - float(f"{at_s:.3f}"))
    assert moved_s <= (0.5 if exactly else 2.0) * BEAT_S + 1e-6
    is_line = (end.left_index - end.grid.downbeat) % 4 == 0
    assert is_line or exactly
    assert bool(end.moved) == (moved_s >= 0.03 or not is_line)


# Bar lines of the old song every 4 beats of 60 / 124 s from 100 s on: 111.61 s is its 24th beat.
@pytest.mark.parametrize(
    ("text", "exactly", "words"),
    [
        pytest.param("111.6s", False, "", id="on the line"),
        pytest.param(
            "112s",
            False,
            "Leave at 112s: moved 0.39 s earlier, to the bar line at 1:51.6; "
            '"exactly" keeps it on the nearest beat.',
            id="to the line before",
        ),
        pytest.param(
            "111.2s",
            False,
            "Leave at 111.2s: moved 0.41 s later, to the bar line at 1:51.6; "
            '"exactly" keeps it on the nearest beat.',
            id="to the line after",
        ),
        pytest.param(
            "112s",
            True,
            "Leave at 112s: moved 0.10 s later, to the nearest beat, which is no bar line, "
            "at 1:52.1.",
            id="to a beat",
        ),
        pytest.param(
            "112.1s",
            True,
            "Leave at 112.1s: kept, though it is no bar line.",
            id="on a beat",
        ),
    ],
)
def test_a_place_that_moves_says_how_far_and_to_what(text, exactly, words):
    assert left(ending(), text, exactly=exactly).moved == words


@given(bar=st.integers(1, 14))
def test_bars_are_counted_back_from_the_last_that_is_heard(bar):
    end = left(ending(), f"bar -{bar}")
    assert end.grid.seconds_at(end.left_index) == pytest.approx(100 + (64 - 4 * bar) * BEAT_S)
    assert not end.moved


def test_marks_of_the_ending_are_where_they_were_heard():
    facts = ending(kind="ring-out", last_hit_beats_before_end=4.0)
    assert left(facts, "last chord").left_index == 56
    assert left(facts, "end").left_index == 64
    ringing = replace(facts, ending=replace(facts.ending, sound_end_s=100.0 + 62.0 * BEAT_S))
    assert left(ringing, "end").left_index == 64  # nothing that sounds is cut
    assert left(ringing, "end", exactly=True).left_index == 62


def test_free_time_is_left_at_the_very_place():
    end = left(unheard(ending()), "112.3s")
    assert end.grid.seconds_at(end.left_index) == pytest.approx(112.3)
    start = entered(unheard(song_facts.start_facts()), "5.3s")
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(5.3)


@given(bar=st.integers(1, 15))
def test_bars_are_counted_on_from_bar_one(bar):
    start = entered(song_facts.start_facts(bpm=96.0), f"bar {bar}")
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(0.1 + (bar - 1) * 2.5)


def test_only_bar_one_keeps_its_pick_up():
    facts = song_facts.start_facts(kind="pick-up", pickup_beats=2.0)
    assert entered(facts, "bar 1").sound_index == pytest.approx(-2.0)
    assert entered(facts, "bar 2").sound_index == 4


def test_what_swells_in_comes_under_the_bridge_only_where_it_leads_to_the_place_asked():
    facts = song_facts.start_facts("C major", 120.0)  # bars of 2 s from .1 s on
    swelling = replace(facts, opening=replace(facts.opening, faded_in_s=3.9))
    asked = {enter: start_as_asked(swelling, places_asked(enter=enter)) for enter in ("0s", "4s")}
    assert not asked["0s"].fades_in
    assert asked["4s"].fades_in


def test_the_singer_comes_in_as_many_bars_after_the_entry_as_asked():
    facts = song_facts.start_facts(bpm=96.0, first_note_s=0.1 + 6 * 2.5)
    assert entered(facts, "first note - 2 bars").entry_index == 16
    plan = plan_segue(
        recipe_of("hold"), ending(), facts, asked=places_asked(enter="first note - 2 bars")
    )
    assert plan.singer_beat == pytest.approx(plan.entry_beat + 8)


def test_a_singer_who_is_over_before_the_entry_is_not_cued():
    facts = song_facts.start_facts(bpm=96.0, first_note_s=0.1 + 2.5)
    plan = plan_segue(recipe_of("hold"), ending(), facts, asked=places_asked(enter="bar 6"))
    assert plan.singer_beat is None


OUTSIDE = {
    "before what was read": (
        "leave", "1:30", ending(),
        ("--leave '1:30' of 'Old Song' is at 1:30.3, and only 1:40.0 to 2:11.0 was read: take a "
        "place a bar after that start, or run 'segue between' with --edge-seconds 56."),
    ),
    "bars before what was read": (
        "leave", "bar -40", ending(),
        ("--leave 'bar -40' of 'Old Song' is at 0:53.5, and only 1:40.0 to 2:11.0 was read: take "
        "a place a bar after that start, or run 'segue between' with --edge-seconds 93."),
    ),
    "after the end": (
        "leave", "9:00", ending(),
        "--leave '9:00' is after the end of 'Old Song' at 2:11.0: take an earlier place, or end.",
    ),
    "no chord": (
        "leave", "last chord", song_facts.end_facts(),
        ("--leave 'last chord': no last chord was heard at the end of 'Old Song': give a time, "
        "or end."),
    ),
    "no beats to count back": (
        "leave", "bar -8", unheard(ending()),
        ("--leave 'bar -8': no clear beats were heard at the end of 'Old Song', so its bars cannot "
        'be counted: give a time, "last chord" or end.'),
    ),
    "no beats to count": (
        "enter", "bar 9", unheard(song_facts.start_facts()),
        ("--enter 'bar 9': no clear beats were heard at the start of 'New Song', so its bars "
        "cannot be counted: give a time."),
    ),
    "after what was read": (
        "enter", "1:30", song_facts.start_facts(),
        ("--enter '1:30' of 'New Song' is at 1:30.1, and only 0:00.0 to 0:40.1 was read: take an "
        "earlier place, or run 'segue between' with --edge-seconds 106."),
    ),
    "further than is ever read": (
        "leave", "0:10", replace(ending(), duration_s=600.0),
        ("--leave '0:10' of 'Old Song' is at 0:11.0, and only 1:40.0 to 2:11.0 was read: take a "
        "place a bar after that start; no more than 300 s of a song can be read."),
    ),
    "after the song": (
        "enter", "3:20", song_facts.start_facts(),
        ("--enter '3:20' of 'New Song' is at 3:20.1, less than a bar before the song is over: take "
        "an earlier place."),
    ),
    "nobody sings": (
        "enter", "first note - 2 bars", song_facts.start_facts(),
        ("--enter 'first note - 2 bars': no sung note was heard at the start of 'New Song': give "
        "'segue between' the lead part with --new-lead, or enter at a time or a bar."),
    ),
    "before the song": (
        "enter", "first note - 2 bars", song_facts.start_facts(first_note_s=2.6),
        ("--enter 'first note - 2 bars' of 'New Song' is 2.4 s before the song begins: take a "
        "later place."),
    ),
}  # fmt: skip


@pytest.mark.parametrize(("option", "text", "facts", "sentence"), OUTSIDE.values(), ids=OUTSIDE)
def test_what_is_not_there_is_told_in_one_sentence(option, text, facts, sentence):
    place = {"leave": left, "enter": entered}[option]
    with pytest.raises(OptionError) as told:
        place(facts, text)
    assert str(told.value) == sentence


SHELF = all_recipes().recipes


@pytest.mark.parametrize("recipe", SHELF, ids=lambda recipe: recipe.name)
def test_every_recipe_keeps_places_and_bars_or_says_why_not(recipe):
    asked = places_asked(leave="bar -6", enter="bar 3", n_bars=6)
    old, new = ending(bpm=124.0), song_facts.start_facts(bpm=118.0)
    plan = plan_segue(recipe, old, new, asked=asked)
    time = timeline(
        end_as_asked(old, asked), start_as_asked(new, asked), recipe, asked_bars=asked.n_bars
    )
    within = min(max(6, recipe.length.least), recipe.length.most)
    assert time.n_interlude_bars == within
    assert any(note.startswith("6 bars asked:") for note in plan.notes) == (within != 6)
    assert time.exit_index <= 40
    moved = any(note.startswith("Leave at bar -6:") for note in plan.notes)
    assert moved == (time.exit_index < 40)
    assert moved <= bool(recipe.length.carry_bars or recipe.length.overlap_bars)
    assert time.incoming.entry_index == 8


@pytest.mark.parametrize("recipe", SHELF, ids=lambda recipe: recipe.name)
def test_every_recipe_can_be_left_and_entered_off_the_bar_line(recipe):
    asked = places_asked(leave=f"{100.0 + 42 * BEAT_S:.4f}s", enter="2.6s", exactly=True)
    old, new = ending(bpm=124.0), song_facts.start_facts(bpm=118.0)
    plan = plan_segue(recipe, old, new, asked=asked)
    played = [
        point.source_s
        for layer in plan.layers
        if isinstance(layer, SongLayer) and layer.song == "incoming"
        for point in layer.time_map
        if point.beat == plan.entry_beat and layer.end_beat > plan.entry_beat
    ]
    assert played
    assert played == pytest.approx([0.1 + 5 * 60.0 / 118.0] * len(played))


@given(at=st.integers(20, 56))
def test_a_place_kept_off_the_bar_line_makes_one_short_bar_before_the_bridge(at):
    asked = places_asked(leave=f"{100.0 + at * BEAT_S:.4f}s", exactly=True)
    plan = plan_segue(recipe_of("hold"), ending(), song_facts.start_facts(), asked=asked)
    lines = [line for line in plan.bar_lines if line.section == "outgoing"]
    assert sum(line.metre for line in lines) == plan.exit_beat
    assert {line.metre for line in lines[:-1]} <= {4}
    assert lines[-1].metre == (at % 4 or 4)
    assert all(math.isclose(line.beat % 4, 0.0) for line in lines)


def test_talk_is_not_cut_short_by_bars():
    recipe = recipe_of("hold", fills_talk=True)
    pair = ending(), song_facts.start_facts()
    with_bars = plan_segue(recipe, *pair, talk_s=25.0, asked=places_asked(n_bars=4))
    without = plan_segue(recipe, *pair, talk_s=25.0)
    assert with_bars.entry_beat - with_bars.exit_beat == without.entry_beat - without.exit_beat
    assert any(note.startswith("4 bars asked:") for note in with_bars.notes)


def test_recipes_that_can_be_as_long_as_asked_are_preferred():
    pair = ending(), song_facts.start_facts(bpm=120.0)
    asked = Given(asked=places_asked(n_bars=8))
    long, short = recipe_of("hold", most=8), recipe_of("hold", most=4)
    assert suitability(long, *pair, asked) == suitability(long, *pair) > 0
    assert suitability(short, *pair, asked) < suitability(short, *pair)


@pytest.mark.parametrize(("song_s", "can_be_read"), [(295.5, True), (296.5, False)])
def test_as_much_as_can_be_read_is_offered_to_the_second(song_s, can_be_read):
    """Left at 11 s, with 15 s before it, a song of 296 s needs its last 300 s."""
    facts = replace(ending(), duration_s=song_s)
    with pytest.raises(OptionError) as told:
        left(facts, "0:10")
    assert (f"--edge-seconds {MOST_READ_S:g}" in str(told.value)) is can_be_read


def test_no_more_is_promised_than_the_command_line_reads():
    assert MOST_READ_S == LONGEST_EDGE_S


@pytest.mark.parametrize(("n_bars", "is_read"), [(0, False), (1, True), (64, True), (65, False)])
def test_from_one_to_sixty_four_bars_may_be_asked_for(n_bars, is_read):
    if is_read:
        assert places_asked(n_bars=n_bars).n_bars == n_bars
        return
    with pytest.raises(OptionError, match=f"--bars {n_bars} is outside 1 to 64 bars"):
        places_asked(n_bars=n_bars)
