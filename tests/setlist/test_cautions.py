"""What a band said of the places of its songs, and is told where an order does not keep it."""

from dataclasses import replace
from pathlib import Path

import pytest

from segue.setlist.cautions import broken_pins
from segue.setlist.set_list import SetSong

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
