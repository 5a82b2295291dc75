"""A recipe laid out in bars: where places lie, what sounds there, and in whose words it is told."""

from dataclasses import replace

import pytest

from segue.recipes.position import Axis, Breakpoint, parse_position

FOUR = Axis(n_bars=4)
"""A bridge of four bars between songs of which eight are seen."""


@pytest.mark.parametrize(
    ("place", "bar"),
    [("start", -8), ("start + 2", -6), ("exit - 1", -1), ("exit", 0), ("exit + 0.5", 0.5),
     ("entry - 1", 3), ("entry", 4), ("entry + 2", 6), ("end - 1", 11), ("end", 12)],
)  # fmt: skip
def test_places_are_counted_in_bars_from_where_the_old_song_is_left(place, bar):
    assert FOUR.bar_of(parse_position(place)) == bar


@pytest.mark.parametrize(
    ("bar", "words"),
    [(0, "exit"), (-1, "exit - 1"), (1, "exit + 1"), (2, "exit + 2"), (3, "entry - 1"),
     (4, "entry"), (6, "entry + 2")],
)  # fmt: skip
def test_a_bar_is_told_from_the_nearest_of_exit_and_entry(bar, words):
    assert FOUR.place_of(bar) == words


def curve(*points):
    return tuple(Breakpoint(at=parse_position(at), value=value) for at, value in points)


@pytest.mark.parametrize(
    ("bar", "value"), [(-3, -12), (0, -12), (1, -9), (2, -6), (3, -3), (4, 0), (9, 0)]
)
def test_a_curve_moves_evenly_and_holds_at_its_ends_whatever_the_order(bar, value):
    rise = (("exit", -12.0), ("exit + 2", -6.0), ("entry", 0.0))
    for points in (rise, rise[::-1]):
        assert FOUR.value_at(curve(*points), bar, empty=99.0) == pytest.approx(value)
    assert FOUR.value_at((), bar, empty=99.0) == 99.0
    assert FOUR.value_at(curve(("exit", -5.0)), bar, empty=99.0) == -5.0


@pytest.mark.parametrize("bar", [-1.0, -0.25, 0.0, 0.25, 1.75, 2.25, 3.75, 4.0, 5.0])
def test_a_layer_sounds_from_its_start_up_to_its_end_above_a_level(shelf, bar):
    (riser,) = (x for x in shelf["build"].layers if x.source == "riser")
    level = curve(("exit", -60.0), ("entry", 0.0))
    layer = replace(riser, gain_db=level)
    is_inside = 0 <= bar < 4
    assert FOUR.sounds(replace(riser, gain_db=()), bar, above_db=-30.0) == is_inside
    assert FOUR.sounds(layer, bar, above_db=-30.0) == (is_inside and bar > 2)
    (click,) = (x for x in shelf["talk bed"].layers if x.source == "click")
    assert not FOUR.sounds(click, bar, above_db=-99.0)  # the room does not hear it


def test_an_old_song_plays_as_far_as_it_is_carried_and_then_rings(shelf):
    def plays_until(name, layer_name, n_bars):
        recipe = shelf[name]
        layer = next(x for x in recipe.layers if x.name == layer_name)
        axis = Axis(n_bars=n_bars)
        bars = [bar / 2 for bar in range(-16, 2 * (n_bars + 8))]
        return max(bar for bar in bars if axis.plays(recipe, layer, bar))

    # A ramp carries the old drums all through; a song that stops is over at the exit.
    assert plays_until("tempo ramp", "old drums", 6) == 5.5
    assert plays_until("stop and count-in", "old song", 2) == -0.5
    assert plays_until("loop and hand over", "old loop", 4) == 11.5  # a loop goes on
    assert plays_until("build", "new song", 4) == 11.5
