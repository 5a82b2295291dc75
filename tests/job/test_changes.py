"""What becomes of an option on paper: its recipe, its plan, its words."""

import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import SegueError
from segue.job.attempt import attempt_of, changed_attempt
from segue.job.changes import Changes
from segue.job.own_recipe import own_recipe, recipe_text, write_recipe
from segue.music.chord_words import numeral_of, parse_chord, parse_numeral
from segue.music.key import ALL_KEYS
from segue.plan.grid import chord_edges
from segue.plan.layer import PadLayer, PlayedLayer, SongLayer
from segue.recipes import load_recipe
from segue.recipes.recipe_file import parse_recipe
from segue.runfolder import document_text
from segue.runfolder.run_document import DOCUMENT_NAME
from tests.job.a_run import RECIPES, document_of

NUMBER = {name: str(n) for n, name in enumerate(RECIPES, start=1)}
CHANGES = st.builds(
    Changes,
    n_bars=st.none() | st.integers(1, 12),
    leave=st.none() | st.sampled_from(["bar -3", "bar -6", "end", "110s"]),
    enter=st.none() | st.sampled_from(["bar 2", "0:04", "first note - 1 bar"]),
    exactly=st.booleans(),
    ramp_bars=st.none() | st.integers(1, 6),
    held_bars=st.none() | st.integers(0, 3),
    pad=st.none() | st.sampled_from(["warm", "glass", "choir"]),
    chords=st.none() | st.sampled_from(["Em C Db C7", "F#m7", "Bbm Eb7 Fm", "C"]),
    cadence=st.none() | st.sampled_from(["plagal", "dominant", "any"]),
    without=st.sampled_from([(), ("drums",), ("pad",), ("bass", "chords")]),
    levels=st.sampled_from([(), (("bridge", -3.0),), (("bass", -2.0), ("drums", 1.5))]),
    recipe=st.none() | st.sampled_from(["tempo ramp", "turnaround", "build"]),
)


@pytest.fixture(scope="module", name="document")
def _document(shelf):
    return document_of(shelf)


def planned(document, name, changes):
    return changed_attempt(Path("run"), document, NUMBER[name], changes)


def attempted(document, option, changes):
    """A sentence, or what was made."""
    try:
        return "", changed_attempt(Path("run"), document, option, changes)
    except SegueError as error:
        return str(error), None


def bars_of(plan):
    return sum(line.section == "interlude" for line in plan.bar_lines)


@given(option=st.sampled_from(sorted(NUMBER.values())), changes=CHANGES)
def test_any_change_is_a_plan_or_one_sentence(document, option, changes):
    sentence, made = attempted(document, option, changes)
    if made is None:
        assert sentence.endswith((".", "?"))
        assert "\n" not in sentence
        return
    step, new, plan = made
    assert new.words
    if changes.n_bars is not None:
        assert bars_of(plan) == changes.n_bars
    if changes.chords is not None:
        numerals = {x.chords for x in step.recipe.layers if x.source in ("pad", "comp", "bass")}
        assert len(numerals) == 1
    # what was changed is kept with the option: made anew from there, it is the same plan
    record = document.candidates[int(option) - 1]
    again = attempt_of(Path("run"), document, record, new.making)
    assert again.recipe == step.recipe
    assert again.request.asked == step.request.asked


@given(option=st.sampled_from(sorted(NUMBER.values())), changes=CHANGES)
def test_a_change_that_says_what_is_there_changes_no_plan(document, option, changes):
    """Said once, and then said again of the version: nothing moves any more, but for levels."""
    said = replace(changes, levels=(), without=(), recipe=None)
    try:
        _, new, plan = changed_attempt(Path("run"), document, option, said)
    except SegueError:
        return
    record = replace(document.candidates[int(option) - 1], plan=plan, made=new.making)
    others = document.candidates[: int(option) - 1], document.candidates[int(option) :]
    changed = replace(document, candidates=(*others[0], record, *others[1]))
    assert changed_attempt(Path("run"), changed, option, said)[2] == plan


def test_bars_go_beyond_what_the_recipe_does_by_itself(document):
    assert bars_of(planned(document, "build", Changes(n_bars=8))[2]) == 8


def test_a_place_that_moves_keeps_the_length(document):
    before = document.candidates[0]
    _, new, plan = planned(document, "pad in the new key", Changes(leave="bar -6"))
    assert bars_of(plan) == bars_of(before.plan)
    assert new.words == ("left at bar -6",)


def test_the_ramp_takes_the_bars_that_it_is_given(document):
    plan = planned(document, "tempo ramp", Changes(ramp_bars=3, n_bars=6))[2]
    ramp = next(span for span in plan.tempo.spans if span.start_bpm != span.end_bpm)
    assert ramp.n_beats == 3 * 4
    assert bars_of(plan) == 6
    assert bars_of(planned(document, "tempo ramp", Changes(ramp_bars=5))[2]) == 6  # one is steady


def test_a_ramp_begins_where_it_is_told(document):
    changes = Changes(held_bars=2, ramp_bars=3, n_bars=8)
    plan = planned(document, "tempo ramp", changes)[2]
    bar_bpm = [round(plan.tempo.bpm_at(plan.exit_beat + 4 * bar), 6) for bar in range(9)]
    assert bar_bpm[0] == bar_bpm[1] == bar_bpm[2]
    assert len(set(bar_bpm[2:6])) == 4
    assert bar_bpm[5] == bar_bpm[6] == bar_bpm[7] == bar_bpm[8]
    again = planned(document, "tempo ramp", Changes(held_bars=1, ramp_bars=3))[2]
    assert bars_of(again) == 1 + 3 + 1


def test_written_chords_are_heard_in_this_order_and_lead_to_bar_one(document):
    plan = planned(document, "groove in first", Changes(chords="Em C | Db C7 Fm"))[2]
    for layer in (x for x in plan.layers if isinstance(x, PlayedLayer)):
        inside = [v for v in layer.voicings if v.start_beat < plan.entry_beat]
        assert [v.symbol for v in inside] == ["Em", "C", "Db", "C7"]
        assert [v.start_beat - plan.exit_beat for v in inside] == [0, 4, 8, 12]


def test_pad_cadence_and_levels_reach_the_plan(document):
    changes = Changes(pad="choir", cadence="plagal", levels=(("pad", -3.0), ("bridge", -2.0)))
    _, new, plan = planned(document, "pad in the new key", changes)
    (pad,) = (layer for layer in plan.layers if isinstance(layer, PadLayer))
    assert (pad.sound, pad.trim_db) == ("choir", -3.0)
    inside = [v for v in pad.voicings if v.start_beat < plan.entry_beat]
    assert inside[-1].symbol == "Bbm"
    before = document.candidates[0].plan.bridge_lu
    assert [p.value for p in plan.bridge_lu] == [p.value - 2.0 for p in before]
    assert new.words == ("pad choir", "cadence plagal", "pad -3 dB", "bridge -2 LU")


def test_without_drums_a_loop_plays_on_without_them(document):
    plan = planned(document, "build", Changes(without=("drums",)))[2]
    assert not any(layer.name == "roll" for layer in plan.layers)
    loops = [x for x in plan.layers if isinstance(x, SongLayer) and x.name.startswith("new loop")]
    assert loops
    assert {loop.part for loop in loops} == {"harmonic"}


def test_a_sound_of_ones_own_goes_again_with_a_built_in_one(document, tmp_path):
    note = tmp_path / "note.wav"
    note.touch()
    step, new, _ = planned(document, "pad in the new key", Changes(pad=str(note)))
    assert step.request.pad == note
    record = replace(document.candidates[0], made=new.making)
    changed = replace(document, candidates=(record, *document.candidates[1:]))
    assert changed_attempt(Path("run"), changed, "1", Changes(pad="glass"))[0].request.pad is None


def test_an_older_run_says_that_it_cannot_be_changed(document):
    old = replace(document, candidates=(replace(document.candidates[0], made=None),))
    with pytest.raises(SegueError, match="option 1 cannot be changed: an older Segue made"):
        changed_attempt(Path("run"), old, "1", Changes(n_bars=4))
    with pytest.raises(SegueError, match="was made by an older Segue"):
        changed_attempt(Path("run"), replace(document, sources=None), "1", Changes(n_bars=4))


def test_numerals_read_back_in_every_key():
    roots, kinds = ("C", "Db", "E", "F#", "Ab", "B"), ("", "m", "7")
    chords = [parse_chord(f"{root}{kind}") for root in roots for kind in kinds]
    for key in ALL_KEYS:
        assert [parse_numeral(numeral_of(chord, key), key) for chord in chords] == chords


@given(st.integers(1, 24), st.integers(1, 16), st.sampled_from([2, 3, 4, 5, 6, 7]))
def test_chords_share_the_bridge_without_gaps(n_chords, n_bars, metre):
    end = 8.0 + n_bars * metre
    edges = chord_edges(n_chords, 8.0, end, metre)
    lengths = [b - a for a, b in pairwise(edges)]
    assert (edges[0], edges[-1], len(lengths)) == (8.0, end, n_chords)
    assert min(lengths) > 0
    if n_chords <= n_bars * metre and metre % 2 == 0:
        assert all(length == round(length) for length in lengths)
        assert lengths == sorted(lengths, reverse=True)


def test_every_recipe_of_the_shelf_is_written_as_it_reads(shelf):
    for recipe in shelf.values():
        assert parse_recipe(recipe_text(recipe, comment="kept"), Path("kept.toml")) == recipe


def test_a_changed_option_is_kept_as_a_recipe(document, tmp_path):
    (tmp_path / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    changes = Changes(chords="Em C Db C7", levels=(("bass", -2.0),), n_bars=8)
    recipe = own_recipe(tmp_path, "2", changes, name="my groove")
    write_recipe(recipe, tmp_path / "my.toml")
    assert load_recipe(tmp_path / "my.toml") == recipe
    assert (recipe.name, recipe.length.default) == ("my groove", 8)
    assert {x.chords for x in recipe.layers if x.harmony == "written"} == {"vii V bVI V7"}
    with pytest.raises(SegueError, match="is there already: name another file"):
        write_recipe(recipe, tmp_path / "my.toml")


def test_planning_a_draft_loads_nothing_that_renders():
    code = (
        "import sys, segue.job.draft, segue.job.attempt;"
        "print([m for m in ('numba', 'scipy', 'pydantic', 'soxr') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert told.stdout.strip() == "[]"
