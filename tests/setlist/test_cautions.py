"""What a band said of the places of its songs, and is told where an order does not keep it."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from segue.setlist.cautions import (
    _after_the_last,
    _no_break,
    broken_pins,
    join_cautions,
    slot_cautions,
)
from segue.setlist.set_list import SetSong
from tests.plan.song_facts import end_facts, start_facts

SONGS = tuple(
    SetSong(path=Path(title), title=title) for title in ("Copper", "Harbour", "Lantern", "Tide")
)


def told(place, **pin):
    """The sentences where the song at a place, from 1, has a pin."""
    songs = list(SONGS)
    songs[place - 1] = replace(songs[place - 1], **pin)
    return [caution.words for caution in broken_pins(songs)]


@pytest.mark.parametrize(
    ("place", "pin"),
    [
        (1, {"opens": True}),
        (4, {"closes": True}),
        (3, {"at": 3}),
        (2, {"after": "Copper"}),
        (1, {"not_beside": ("Lantern",)}),
    ],
)
def test_a_pin_that_is_kept_says_nothing(place, pin):
    assert told(place, **pin) == []


@pytest.mark.parametrize(
    ("place", "pin", "words"),
    [
        (2, {"opens": True}, "'Harbour' is marked as opener, but stands at place 2."),
        (3, {"closes": True}, "'Lantern' is marked as closer, but stands at place 3 of 4."),
        (3, {"at": 1}, "'Lantern' is marked for place 1, but stands at place 3."),
        (1, {"after": "Tide"}, "'Copper' is marked to come right after 'Tide', and does not."),
        (4, {"after": "Harbour"}, "'Tide' is marked to come right after 'Harbour', and does not."),
        (2, {"not_beside": ("Copper",)}, "marked not to stand beside 'Copper', and does."),
        (1, {"not_beside": ("Harbour",)}, "marked not to stand beside 'Copper', and does."),
    ],
)
def test_a_pin_that_an_order_breaks_is_told_with_the_place(place, pin, words):
    (sentence,) = told(place, **pin)
    assert words in sentence


def _set_song(n, **fields):
    return SetSong(path=Path(f"{n}.wav"), title=f"Song {n}", **fields)


def _caution(old, old_facts, new_facts):
    return [
        (caution.words, [tuple(mend) for mend in caution.mends])
        for caution in join_cautions(old, old_facts, _set_song(2), new_facts, number=4)
    ]


@pytest.mark.parametrize(
    ("old_key", "new_key", "is_warned"),
    [
        ("E minor", "F minor", True),
        ("F major", "E minor", True),
        ("E minor", "E major", False),
        ("E minor", "F# minor", False),
        ("E minor", "D minor", False),
    ],
)
def test_a_semitone_between_neighbours_is_warned_of(old_key, new_key, is_warned):
    facts = end_facts(old_key), start_facts(new_key)
    for rest_s, rested in ((9.9, False), (10.0, True)):
        for breaks in ({"talk_s": rest_s}, {"changeover_s": rest_s}):
            told = _caution(_set_song(1, is_segue=False, **breaks), *facts)
            assert bool(told) is (is_warned and not rested)
            if told:
                assert told[0][1] == [("between", 4), ("order", 5)]
    assert not _caution(_set_song(1, is_segue=True), *facts)


def test_a_drop_after_the_peak_is_told_with_both_tempos():
    facts = end_facts(bpm=140.0), start_facts(bpm=100.0)
    ((words, mends),) = _caution(_set_song(1, energy=5), *facts)
    assert "the tempo drops from 140 to 100 BPM" in words
    assert mends == [("order", 5), ("between", 4)]
    assert not _caution(_set_song(1, energy=5), facts[1], facts[0])


@pytest.mark.parametrize(
    ("n_sung", "n_songs", "is_warned"),
    [(5, 8, False), (6, 8, True), (3, 3, True), (2, 2, False), (4, 4, True), (4, 5, False)],
)
def test_a_singer_is_asked_for_five_songs_or_less_and_not_for_all(n_sung, n_songs, is_warned):
    voices = ["Mara"] * n_sung + [None] * (n_songs - n_sung)
    songs = [_set_song(n, voice=voice) for n, voice in enumerate(voices)]
    told = list(_no_break(songs))
    assert bool(told) is is_warned
    if told:
        assert f"Mara sings {n_sung} songs without a break, from 'Song 0' to" in told[0].words
        middle = (n_sung - 1) // 2 + 1
        assert [tuple(mend) for mend in told[0].mends] == [("order", middle), ("more", middle)]


@pytest.mark.parametrize(
    ("running_s", "kinds"),
    [(1000.0, []), (1000.1, ["fewer", "between"]), (900.0, []), (899.0, ["more", "between"])],
)
def test_a_set_fills_its_slot_to_a_tenth(running_s, kinds):
    songs = tuple(
        SimpleNamespace(number=n, start_s=0.0, end_s=length_s)
        for n, length_s in enumerate((200.0, 300.0, 250.0), start=1)
    )
    joins = tuple(
        SimpleNamespace(number=n, wanted_talk_s=None, talk_s=talk_s)
        for n, talk_s in enumerate((10.0, 30.0), start=1)
    )
    evening = SimpleNamespace(slot_s=1000.0, running_s=running_s, songs=songs, joins=joins)
    told = [mend for caution in slot_cautions(evening) for mend in caution.mends]
    assert [mend.kind for mend in told] == kinds
    if kinds:
        assert told[1].song == 2  # after it most is said
        assert told[0].song == (1 if kinds[0] == "fewer" else 3)
    over = SimpleNamespace(slot_s=1000.0, running_s=1000.0 + 240.0, songs=songs, joins=joins)
    assert [m.song for c in slot_cautions(over) for m in c.mends] == [3, 2]
    far = SimpleNamespace(slot_s=1000.0, running_s=2000.0, songs=songs, joins=())
    assert [m.song for c in slot_cautions(far) for m in c.mends] == [2, 1]
    nothing = SimpleNamespace(slot_s=None, running_s=2000.0, songs=songs, joins=())
    assert list(slot_cautions(nothing)) == []


def test_what_would_follow_the_last_song_is_not_counted():
    def told(**breaks):
        return [c.words for c in _after_the_last([_set_song(1), _set_song(2, **breaks)])]

    assert told() == []
    assert "its talk would follow the evening and is not" in told(talk_s=5.0)[0]
    assert "its talk and changeover would follow the evening and are not" in told(
        talk_s=5.0, changeover_s=5.0
    )[0]  # fmt: skip
