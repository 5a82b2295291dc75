"""Chords that somebody wrote, and bars played backwards: where they lie in the bridge."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.plan import plan_segue
from segue.plan.layer import PadLayer, PlayedLayer, ReversedLayer
from segue.recipes.changed_recipe import with_chords
from segue.recipes.position import parse_position
from tests.plan.song_facts import end_facts, start_facts

OLD, NEW = end_facts("E minor", 124.0), start_facts("F minor", 96.0)


def written(shelf, numerals, **pad):
    """Chords of the comping and of the pad, which rings on for half a bar: beats and symbols."""
    recipe = with_chords(shelf["broken chords"], numerals)
    layers = tuple(
        replace(layer, **pad) if layer.source == "pad" else layer for layer in recipe.layers
    )
    plan = plan_segue(replace(recipe, layers=layers), OLD, NEW)
    told = {
        type(layer): [
            (x.start_beat - plan.exit_beat, x.end_beat - plan.exit_beat, x.symbol)
            for x in layer.voicings
        ]
        for layer in plan.layers
        if isinstance(layer, PadLayer | PlayedLayer)
    }
    return told, plan.entry_beat - plan.exit_beat


def test_written_chords_have_a_bar_each_and_the_pad_comes_home_with_bar_one(shelf):
    told, n_beats = written(shelf, "vii V bVI V7")
    bars = [(0, 4, "Em"), (4, 8, "C"), (8, 12, "Db"), (12, 16, "C7")]
    assert n_beats == 16
    assert told[PlayedLayer] == bars
    assert told[PadLayer] == [*bars, (16, 18, "Fm")]


def test_fewer_chords_stay_longer_at_first_and_more_share_the_last_bar(shelf):
    told, _ = written(shelf, "i iv V7")
    assert told[PlayedLayer] == [(0, 8, "Fm"), (8, 12, "Bbm"), (12, 16, "C7")]
    told, _ = written(shelf, "i iv V7 bVI V7")
    assert [(a, b) for a, b, _ in told[PlayedLayer]] == [
        (0, 4), (4, 8), (8, 12), (12, 14), (14, 16),
    ]  # fmt: skip


@given(n_chords=st.integers(1, 16))
def test_any_number_of_chords_fills_the_bridge_without_a_gap(shelf, n_chords):
    told, n_beats = written(shelf, " ".join(["i", "V7"] * n_chords).rsplit(" ", n_chords)[0])
    for layer, last in ((PlayedLayer, n_beats), (PadLayer, n_beats + 2)):
        starts, ends = zip(*((a, b) for a, b, _ in told[layer]), strict=True)
        assert starts[0] == 0
        assert ends[-1] == last
        assert starts[1:] == ends[:-1]
        assert all(a < b for a, b in zip(starts, ends, strict=True))


@pytest.mark.parametrize(
    ("start", "end", "chords"),
    [
        pytest.param("exit + 1", "entry", [(4, 8, "C"), (8, 12, "Db"), (12, 16, "C7")], id="late"),
        pytest.param("exit", "exit + 2", [(0, 4, "Em"), (4, 8, "C")], id="early"),
        pytest.param("exit + 1.5", "exit + 2.5", [(6, 8, "C"), (8, 10, "Db")], id="the middle"),
        pytest.param("exit - 1", "exit + 1", [(-4, 4, "Em")], id="before it begins"),
        pytest.param("entry", "entry + 1", [(16, 20, "Fm")], id="after bar one"),
    ],
)
def test_a_layer_plays_the_chords_of_its_own_stretch(shelf, start, end, chords):
    places = {"start": parse_position(start), "end": parse_position(end), "gain_db": ()}
    told, _ = written(shelf, "vii V bVI V7", **places)
    assert told[PadLayer] == chords


def backwards(shelf, of, new=NEW):
    recipe = shelf["throw and land"]
    layers = tuple(
        replace(layer, of=of) if layer.source == "reverse tail" else layer
        for layer in recipe.layers
    )
    plan = plan_segue(replace(recipe, layers=layers), OLD, new)
    return [x for x in plan.layers if isinstance(x, ReversedLayer)], plan


def test_the_new_songs_first_bar_grows_backwards_into_it(shelf):
    (layer,), plan = backwards(shelf, "incoming")
    assert layer.song == "incoming"
    assert layer.source_s == pytest.approx(NEW.opening.first_downbeat_s)
    assert layer.length_s == pytest.approx(4 * 60 / 96)
    assert (layer.start_beat, layer.end_beat) == (plan.entry_beat - 4, plan.entry_beat)


def test_the_old_songs_last_bar_is_the_one_before_it_is_left(shelf):
    (layer,), plan = backwards(shelf, "outgoing")
    assert layer.song == "outgoing"
    assert layer.source_s + layer.length_s == pytest.approx(plan.exit_source_s)
    assert layer.length_s == pytest.approx(4 * 60 / 124)


def test_a_bar_backwards_gives_way_to_a_pick_up(shelf):
    short = start_facts("F minor", 96.0, kind="pick-up", pickup_beats=1.0)
    (layer,), plan = backwards(shelf, "incoming", short)
    assert layer.end_beat == pytest.approx(plan.entry_beat - 1.0)
    long = start_facts("F minor", 96.0, kind="pick-up", pickup_beats=4.0)
    layers, plan = backwards(shelf, "incoming", long)
    assert not layers
    assert "'first bar backwards' gives way to the pick-up." in plan.notes
