"""A recipe changed by hand: what was wished changes, by so much, and nothing else."""

from dataclasses import replace

import pytest

from segue.errors import OptionError
from segue.recipes.changed_recipe import (
    is_the_song,
    kinds_of,
    layers_called,
    pads_of,
    with_bars,
    with_cadence,
    with_chords,
    with_pad_sound,
    with_ramp,
    with_trim,
    without,
)
from segue.recipes.lint import silences
from segue.recipes.position import parse_position

# What a musician calls the layers of some recipes, by their names in the file.
CALLED = {
    ("tempo ramp", "drums"): ["old drums"],
    ("tempo ramp", "chords"): ["chords"],
    ("tempo ramp", "Bass "): ["bass"],
    ("tempo ramp", "old band  without drums"): ["old band without drums"] * 2,
    ("drum break", "drums"): ["own drums", "fill"],
    ("drum break", "loop"): ["own drums"],
    ("drum break", "drum bridge"): ["fill"],
    ("build", "loop"): ["new loop"],
    ("build", "riser"): ["riser"],
    ("build", "reverse tail"): ["first bar backwards"],
    ("talk bed", "bed"): ["bed", "bed"],
    ("talk bed", "loop"): ["bed", "bed", "new drums"],
    ("pad in the new key", "comp"): ["touch of keys"],
    ("dissolve", "frozen tail"): ["old sound held", "new sound rising"],
}


@pytest.mark.parametrize(("name", "word"), CALLED, ids=" / ".join)
def test_a_word_means_the_layers_that_a_musician_means(shelf, name, word):
    recipe = shelf[name]
    found = layers_called(recipe, word, "--level")
    assert [recipe.layers[n].name for n in found] == CALLED[name, word]


def test_a_name_goes_before_a_kind(shelf):
    recipe = shelf["tempo ramp"]
    named = replace(recipe, layers=(*recipe.layers, replace(recipe.layers[4], name="drums")))
    assert layers_called(named, "drums", "--level") == (len(recipe.layers),)


def test_click_and_cue_have_no_level_and_are_not_offered(shelf):
    recipe = shelf["breakdown and rebuild"]
    assert not any(kinds_of(layer) for layer in recipe.layers if layer.source in ("click", "cue"))
    with pytest.raises(OptionError) as caught:
        layers_called(recipe, "basss", "--level")
    words = str(caught.value)
    assert "but old song, half-time drums, rebuild, chords, bass, riser, new song:" in words
    assert words.endswith("Did you mean 'bass'?")


def test_a_layer_is_so_much_louder_and_all_else_as_it_was(shelf):
    recipe = shelf["walk the bass"]
    louder = with_trim(with_trim(recipe, "bass", 2.5), "bass", -1.0)
    places = [n for n, layer in enumerate(recipe.layers) if layer.name == "bass"]
    for n, (before, after) in enumerate(zip(recipe.layers, louder.layers, strict=True)):
        assert after == replace(before, trim_db=1.5 if n in places else 0.0)
    assert replace(louder, layers=recipe.layers) == recipe


@pytest.mark.parametrize(("by_db", "is_good"), [(-40, True), (-41, False), (12, True), (13, False)])
def test_a_layer_stays_within_what_a_fader_does(shelf, by_db, is_good):
    # 12 dB up and 40 dB down, as docs/recipes.md has it for `trim_db`.
    if is_good:
        assert with_trim(shelf["build"], "riser", by_db).layers[3].trim_db == by_db
    else:
        with pytest.raises(OptionError, match=r"keep within -40 to \+12 dB") as caught:
            with_trim(shelf["build"], "riser", by_db)
        assert f"'riser' to {by_db:+} dB" in str(caught.value)


def test_the_whole_bridge_moves_by_both_its_ends(shelf):
    recipe = shelf["build"]  # -6 to +2 LU
    softer = with_trim(recipe, " Bridge", -3.0)
    assert (softer.level.exit_lu, softer.level.entry_lu) == (-9.0, -1.0)
    assert softer.layers == recipe.layers
    assert with_trim(recipe, "bridge", 10.0).level.entry_lu == 12.0
    with pytest.raises(OptionError, match=r"bring the bridge to \+4.5 to \+12.5 LU: keep within"):
        with_trim(recipe, "bridge", 10.5)
    assert with_trim(recipe, "bridge", -54.0).level.exit_lu == -60.0
    with pytest.raises(OptionError, match="to -61 to -53 LU: keep within -60 to 12"):
        with_trim(recipe, "bridge", -55.0)


def test_a_layer_is_left_out_and_the_songs_stay(shelf):
    recipe = shelf["build"]
    thinner = without(recipe, "riser")
    assert [x.name for x in thinner.layers] == [x.name for x in recipe.layers if x.name != "riser"]
    for name in ("old song", "new song"):
        with pytest.raises(OptionError, match=f"'{name}' is the song itself, which stays"):
            without(recipe, name)


def test_the_songs_are_the_layers_from_the_start_and_to_the_end(shelf):
    songs = {
        name: [x.name for x in recipe.layers if is_the_song(x)] for name, recipe in shelf.items()
    }
    assert songs["build"] == songs["talk bed"] == ["old song", "new song"]
    assert songs["tempo ramp"] == ["old drums", *["old band without drums"] * 2, "new song"]
    assert all(names for names in songs.values())


def test_without_drums_a_loop_of_the_whole_band_keeps_its_harmony(shelf):
    loop = without(shelf["outro to talk over"], "drums")
    assert "new drums" not in [x.name for x in loop.layers]
    recipe = shelf["call and answer"]
    thinner = without(recipe, "drums")
    parts = {x.name: x.part for x in thinner.layers}
    bars = ("old bar", "new bar", "old bar again", "new bar again")
    assert all(parts[name] == "harmonic" for name in bars)
    assert "new drums" not in parts
    assert parts["old song"] == parts["new song"] == "all"


def test_a_bridge_that_would_be_silent_is_refused(shelf):
    alone = without(shelf["walk the bass"], "bass")
    alone = without(alone, "drums")
    assert not silences(alone)
    with pytest.raises(OptionError, match="which would be silent"):
        without(alone, "chords")


def test_pads_alone_take_another_sound(shelf):
    recipe = shelf["broken chords"]
    choir = with_pad_sound(recipe, "choir")
    assert [n for n, x in enumerate(choir.layers) if x != recipe.layers[n]] == [2]
    assert choir.layers[2].sound == "choir"
    assert pads_of(recipe, "choir") == (2,)
    with pytest.raises(OptionError, match="--pad 'choir': 'build' has no pad"):
        with_pad_sound(shelf["build"], "choir")


def test_another_cadence_is_in_all_that_leads_to_one(shelf):
    recipe = shelf["groove in first"]
    plagal = with_cadence(recipe, "subdominant")
    changed = [x.name for x in plagal.layers if x not in recipe.layers]
    assert changed == ["bass", "chords"]
    assert {x.cadence for x in plagal.layers if x.name in changed} == {"subdominant"}
    with pytest.raises(OptionError, match="'dissolve' plays no chords that lead anywhere"):
        with_cadence(shelf["dissolve"], "any")
    written = with_chords(recipe, "i bVI V7")
    with pytest.raises(OptionError, match="its chords are written; write others with --chords"):
        with_cadence(written, "any")
    drone = shelf["throw and land"]  # a pad on one note leads nowhere
    with pytest.raises(OptionError, match="lead anywhere"):
        with_cadence(drone, "any")


def test_written_chords_are_in_all_that_plays_any(shelf):
    recipe = shelf["broken chords"]
    written = with_chords(recipe, "i bVI V7")
    assert [x.chords for x in written.layers] == ["", "i bVI V7", "i bVI V7", ""]
    assert [x.harmony for x in written.layers][1:3] == ["written"] * 2
    with pytest.raises(OptionError, match="--chords: 'dissolve' plays no chords"):
        with_chords(shelf["dissolve"], "i")


def test_bars_go_from_the_least_on_and_beyond_the_most(shelf):
    recipe = shelf["tempo ramp"]  # 4 to 8
    assert with_bars(recipe, 4) == with_bars(recipe, 8) == recipe
    assert with_bars(recipe, 9) == replace(recipe, length=replace(recipe.length, most=9))
    with pytest.raises(OptionError, match="--bars 3: 'tempo ramp' needs at least 4"):
        with_bars(recipe, 3)


def test_no_more_bars_than_there_is_music_for(shelf):
    recipe = shelf["turnaround"]  # up to 4 bars
    short = tuple(
        replace(layer, end=parse_position("exit + 4")) if layer.source == "comp" else layer
        for layer in without(recipe, "bass").layers
    )
    four = replace(recipe, layers=short)
    assert with_bars(four, 4) == four
    with pytest.raises(OptionError, match="'turnaround' has music for 4 at most; take fewer"):
        with_bars(four, 12)


def test_a_ramp_takes_the_bars_between_those_before_and_after(shelf):
    recipe = shelf["tempo ramp"]  # a steady bar after the ramp
    for ramp, held, wanted, (n_bars, steady) in (
        (5, None, None, (6, 1)),
        (5, 2, None, (8, 1)),
        (1, None, None, (4, 3)),  # no fewer than the recipe needs
        (3, 1, 6, (6, 2)),
        (6, 0, 6, (6, 0)),
    ):
        made, told = with_ramp(recipe, ramp, wanted, held_bars=held)
        assert told == n_bars
        assert (made.tempo.held_bars, made.tempo.steady_bars) == (held or 0, steady)
        assert made.length.most == max(n_bars, recipe.length.most)
        assert replace(made, tempo=recipe.tempo, length=recipe.length) == recipe


@pytest.mark.parametrize(
    ("name", "wishes", "words"),
    [
        ("build", (2, None, None), "the tempo of 'build' has no ramp"),
        ("tempo ramp", (0, None, None), "a ramp takes a bar at least"),
        ("tempo ramp", (2, 8, -1), "--ramp-after -1: keep within 0 to 64 bars"),
        ("tempo ramp", (2, 8, 65), "--ramp-after 65: keep within 0 to 64 bars"),
        ("tempo ramp", (5, 4, None), "--ramp 5 is longer than the bridge of 4 bars"),
        ("tempo ramp", (4, 6, 3), "--ramp 4 after 3 is longer than the bridge of 6 bars"),
    ],
)
def test_a_ramp_that_cannot_be_is_told_why(shelf, name, wishes, words):
    ramp, n_bars, held = wishes
    with pytest.raises(OptionError, match=words):
        with_ramp(shelf[name], ramp, n_bars, held_bars=held)
