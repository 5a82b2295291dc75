"""Times and warnings of evenings without sound."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.plan import plan_segue
from segue.setlist.cautions import evening_cautions, join_cautions, slot_cautions
from segue.setlist.evening import Breaks, Evening, EveningJoin, EveningSong, timed, with_plan
from segue.setlist.order import KEY_WEIGHT, UNKNOWN_DISTANCE, neighbour_cost
from segue.setlist.set_list import SetSong
from segue.setlist.show.rows import free_times, running_words
from tests.plan.song_facts import end_facts, start_facts, unheard

FILE_S = 200.0


def song(number, *, key="E minor", length_s=FILE_S, **fields):
    return EveningSong(
        number=number,
        title=f"Song {number}",
        path=Path(f"{number}.wav"),
        start=replace(start_facts(key), duration_s=FILE_S),
        end=replace(end_facts(key), duration_s=FILE_S),
        length_s=length_s,
        start_s=0.0,
        end_s=0.0,
        **fields,
    )


def stop(number, **fields):
    return EveningJoin(
        number=number, is_segue=False, start_s=0, end_s=0, key_distance=0, tempo_ratio=1, **fields
    )


def evening(songs, joins, **fields):
    return timed(Evening(title="x", songs=tuple(songs), joins=tuple(joins), **fields))


breaks = st.floats(0, 100)


@given(st.lists(st.tuples(st.floats(10, 400), breaks, breaks), min_size=1, max_size=6))
def test_with_stops_the_running_time_is_songs_and_breaks(parts):
    songs = [song(n, length_s=length) for n, (length, _, _) in enumerate(parts, 1)]
    joins = [stop(n, talk_s=a, changeover_s=b) for n, (_, a, b) in enumerate(parts[:-1], 1)]
    wanted = sum(x for x, _, _ in parts) + sum(a + b for _, a, b in parts[:-1])
    assert evening(songs, joins).running_s == pytest.approx(wanted)


@given(st.floats(5, 60), st.floats(100, 190), st.floats(0, 20), st.floats(10, 400))
def test_a_segue_takes_the_edges_it_covers_off_the_songs(interlude_s, leave_s, enter_s, length_s):
    join = stop(1, leave_s=leave_s, enter_s=enter_s, interlude_s=interlude_s)
    made = evening([song(1), song(2, length_s=length_s + 20)], [join])
    assert made.songs[0].end_s == pytest.approx(leave_s)
    assert made.songs[1].start_s == pytest.approx(leave_s + interlude_s)
    assert made.running_s == pytest.approx(leave_s + interlude_s + length_s + 20 - enter_s)


def test_a_song_that_its_segues_leave_nothing_of_takes_no_time_back():
    joins = [stop(1, leave_s=150.0, enter_s=20.0), stop(2, leave_s=30.0, enter_s=0.0)]
    made = evening([song(1), song(2, length_s=15.0), song(3)], joins)
    assert made.songs[1].end_s == made.songs[1].start_s == made.joins[0].end_s
    assert made.running_s == pytest.approx(150.0 + FILE_S)


@pytest.mark.parametrize("name", ["tempo ramp", "stop and count-in", "pad in the new key"])
def test_a_plan_leaves_and_enters_where_its_candidate_does(shelf, name):
    old, new = end_facts(), start_facts()
    plan = plan_segue(shelf[name], old, new)
    join = with_plan(stop(1), plan, (old, new), Breaks())
    between_s = plan.seconds_at(plan.entry_beat) - plan.seconds_at(plan.exit_beat)
    assert join.interlude_s == pytest.approx(between_s)
    assert old.edge_start_s < join.leave_s <= old.duration_s + 60 / 96 * 4
    assert join.enter_s == pytest.approx(new.opening.first_downbeat_s)
    assert join.talk_s == join.changeover_s == 0


@given(st.floats(0, 60), st.floats(0, 60))
def test_music_covers_breaks_as_far_as_it_goes(shelf, talk_s, changeover_s):
    old, new = end_facts(), start_facts()
    plan = plan_segue(shelf["pad in the new key"], old, new)
    wanted = Breaks(talk_s=talk_s, changeover_s=changeover_s)
    join = with_plan(stop(1), plan, (old, new), wanted)
    free_s = join.talk_s + join.changeover_s
    is_covered = talk_s + changeover_s <= join.interlude_s
    count_in_s = 2 * new.pulse.metre * 60 / new.pulse.tempo_bpm
    before_s = join.interlude_s - count_in_s
    expected_s = 0 if is_covered else talk_s + changeover_s - before_s
    assert free_s == pytest.approx(expected_s, abs=0.01)
    assert join.talk_s <= talk_s + 1e-9


def said(n, **fields):
    return SetSong(path=Path(f"{n}.wav"), title=f"Song {n}", **fields)


@pytest.mark.parametrize(
    ("key", "warns"), [("F minor", True), ("Eb minor", True), ("A minor", False)]
)
@pytest.mark.parametrize("is_segue", [True, False])
def test_a_semitone_without_a_segue_is_warned_of(key, warns, is_segue):
    old = said(1, is_segue=is_segue)
    found = [*join_cautions(old, end_facts("E minor", bpm=100), said(2), start_facts(key, bpm=100))]
    assert bool(found) == (warns and not is_segue)


@pytest.mark.parametrize(
    ("talk_s", "changeover_s", "warns"),
    [(5, 0, True), (9, 0, True), (10, 0, False), (6, 5, False), (0, 40, False)],
)
def test_after_a_while_the_old_key_is_out_of_the_ear(talk_s, changeover_s, warns):
    old = said(1, is_segue=False, talk_s=talk_s, changeover_s=changeover_s)
    found = [*join_cautions(old, end_facts(bpm=100), said(2), start_facts(bpm=100))]
    assert bool(found) == warns


def test_talk_after_the_last_song_is_not_dropped_in_silence():
    (told,) = evening_cautions(evening([song(1)], []), [said(1, talk_s=40, changeover_s=9)])
    assert told.words == (
        "'Song 1' comes last: its talk and changeover would follow the evening and are not counted."
    )


def test_talk_after_the_last_song_is_that_of_the_last():
    songs = [song(1), song(2)]
    for first_s, last_s, words in (
        (40, 0, []),
        (0, 40, ["'Song 2' comes last: its talk would follow the evening and is not counted."]),
    ):
        both = [said(1, talk_s=first_s), said(2, talk_s=last_s)]
        told = [x.words for x in evening_cautions(evening(songs, [stop(1)]), both)]
        assert [words for words in told if "comes last" in words] == words


@pytest.mark.parametrize(
    ("energy", "bpm", "warns"), [(5, 80, True), (3, 80, False), (5, 120, False), (None, 80, False)]
)
def test_a_drop_after_a_peak_is_warned_of(energy, bpm, warns):
    found = [
        *join_cautions(said(1, energy=energy), end_facts(bpm=128), said(2), start_facts(bpm=bpm))
    ]
    assert any("drops from 128 to" in caution.words for caution in found) == warns


def test_of_what_was_not_heard_nothing_is_warned_or_counted():
    old, new = said(1, is_segue=False, energy=5), said(2)
    far = end_facts("E minor", bpm=128), start_facts("F minor", bpm=80)
    assert len([*join_cautions(old, far[0], new, far[1])]) == 2
    assert not [*join_cautions(old, unheard(far[0]), new, far[1])]
    assert not [*join_cautions(old, far[0], new, unheard(far[1]))]
    assert neighbour_cost(old, far[0], new, unheard(far[1])) == UNKNOWN_DISTANCE * KEY_WEIGHT


def cautions_of(n, *, keys=None, voices=None, slot_s=None, **fields):
    keys = keys or ["E minor", "A minor"] * n
    voices = voices or [None] * n
    made = evening(
        [song(k + 1, key=keys[k]) for k in range(n)], map(stop, range(1, n)), slot_s=slot_s
    )
    written = [said(k + 1, voice=voices[k], **fields) for k in range(n)]
    return tuple(c.words for c in (*slot_cautions(made), *evening_cautions(made, written)))


def test_three_in_a_key_are_warned_of_and_two_are_not():
    assert not cautions_of(3, keys=["E minor", "E minor", "A minor"])
    (words,) = cautions_of(4, keys=["A minor", "E minor", "E minor", "E minor"])
    assert words.startswith("3 songs in a row are in E minor: 'Song 2', 'Song 3', 'Song 4'")


def test_a_singer_without_a_break_is_warned_of():
    assert "Mara sings 3 songs without a break" in cautions_of(3, voices=["Mara"] * 3)[0]
    assert not cautions_of(4, voices=["Mara", "Mara", None, "Mara"])
    long = ["Jo", *["Mara"] * 6]
    assert "Mara sings 6 songs without a break, from 'Song 2'" in cautions_of(7, voices=long)[0]


@pytest.mark.parametrize(
    ("slot_s", "told"),
    [
        (390, "Too long by 0:10"),
        (400, None),
        (420, None),
        (440, None),
        (450, "Short by 0:50"),
        (600, "Short by 3:20"),
    ],
)
def test_the_slot_is_held_against_the_running_time(slot_s, told):
    found = cautions_of(2, slot_s=float(slot_s))
    assert [words.split(":")[0] for words in found] == ([told.split(":")[0]] if told else [])
    assert all(words.startswith(told) for words in found)


def test_opener_and_closer_out_of_place_are_told():
    assert len(cautions_of(2, opens=True)) == len(cautions_of(2, closes=True)) == 1


def test_a_segue_that_is_not_rendered_is_free_time_by_its_name():
    join = stop(1, interlude_s=13.0, recipe="talk bed", wanted_talk_s=12.0, changeover_s=9.0)
    named = ("talk bed for 12 s of talk (not made yet)", 13.0)
    assert free_times(join) == (named, ("changeover", 9.0))
    bare = stop(1, interlude_s=13.0, recipe="tempo ramp")
    assert free_times(bare) == (("tempo ramp (not made yet)", 13.0),)
    assert free_times(stop(1, talk_s=5.0)) == (("talk", 5.0),)


@pytest.mark.parametrize(
    ("slot_s", "words"),
    [
        (None, "running time 6:40."),
        (400.0, "running time 6:40 of a slot of 6:40: 0:00 left."),
        (500.0, "running time 6:40 of a slot of 8:20: 1:40 left."),
        (390.0, "running time 6:40 of a slot of 6:30: 0:10 too long."),
    ],
)
def test_running_time_is_told_against_the_slot(slot_s, words):
    assert running_words(400.0, slot_s) == words
