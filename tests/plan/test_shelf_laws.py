"""Laws of the built-in shelf over invented pairs of songs."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from segue.music.key import ALL_KEYS
from segue.plan import plan_segue
from segue.plan.layer import DrumLayer, PadLayer, PlayedLayer, SongLayer
from segue.plan.tempo_spans import TempoTooFarError
from segue.recipes import load_recipes, shelf_folder
from segue.recipes.position import parse_position
from segue.recipes.recipe import RecipeLayer
from tests.plan import song_facts
from tests.plan.overlaps import overlaps

SHELF = load_recipes(shelf_folder())
by_name = {recipe.name: recipe for recipe in SHELF}


@st.composite
def pairs(draw):
    """End facts and start facts of two songs that have nothing to do with each other."""
    opening = draw(st.sampled_from(["on the beat", "pick-up", "free intro"]))
    old = song_facts.end_facts(
        str(draw(st.sampled_from(ALL_KEYS))),
        draw(st.floats(50, 200)),
        kind=draw(st.sampled_from(["keeps going", "cold stop", "ring-out", "fade"])),
        metre=draw(st.sampled_from([3, 4, 6])),
        n_bars=draw(st.integers(3, 24)),
        confidence=draw(st.sampled_from([0.1, 0.9])),
        last_hit_beats_before_end=draw(st.sampled_from([0.5, 1.0, 4.0])),
    )
    new = song_facts.start_facts(
        str(draw(st.sampled_from(ALL_KEYS))),
        draw(st.floats(50, 200)),
        kind=opening,
        metre=draw(st.sampled_from([3, 4, 6])),
        n_bars=draw(st.integers(3, 24)),
        confidence=draw(st.sampled_from([0.1, 0.9])),
        pickup_beats=draw(st.sampled_from([0.5, 1.0, 2.5])) if opening == "pick-up" else 0.0,
        first_note_s=draw(st.sampled_from([None, 0.2, 6.0, 20.0])),
    )
    return old, new


@st.composite
def plans(draw):
    recipe = draw(st.sampled_from(SHELF))
    stems = {
        "outgoing_has_stems": draw(st.booleans()),
        "incoming_has_stems": draw(st.booleans()),
    }
    talk_s = draw(st.sampled_from([None, 5.0, 25.0]))
    old, new = draw(pairs())
    try:
        plan = plan_segue(recipe, old, new, talk_s=talk_s, **stems)
    except TempoTooFarError:
        assume(condition=False)
    return plan, stems


@given(plans())
@settings(max_examples=250)
def test_any_plan_holds_together(planned):
    plan, _ = planned
    for layer in plan.layers:
        assert layer.start_beat < layer.end_beat <= plan.end_beat + 1e-6, layer
        assert plan.seconds_at(layer.start_beat) >= -1e-9
    for layer in (x for x in plan.layers if isinstance(x, SongLayer)):
        assert layer.time_map[0].source_s >= 0
        assert layer.time_map[0].beat <= layer.start_beat + 1e-6
        assert layer.time_map[-1].beat >= layer.end_beat - 1e-6
        assert all(b.beat > a.beat and b.source_s > a.source_s for a, b in pairwise(layer.time_map))
    for layer in (x for x in plan.layers if isinstance(x, DrumLayer)):
        beats = [hit.beat for hit in layer.hits]
        assert beats == sorted(beats)
        assert layer.start_beat <= beats[0] <= beats[-1] < layer.end_beat
    for layer in plan.layers:
        beats = [point.beat for point in layer.gain_db]
        assert beats == sorted(beats)
    clicks = [hit.beat for hit in plan.click]
    assert clicks == sorted(set(clicks))
    assert not clicks or clicks[0] >= 0
    assert any(abs(line.beat - plan.exit_beat) < 1e-6 for line in plan.bar_lines)
    first = next(line.beat for line in plan.bar_lines if line.section == "incoming")
    assert first - plan.entry_beat == pytest.approx(0, abs=1e-6) or plan.entry_beat % 1 == 0


@given(plans())
@settings(max_examples=200)
def test_no_two_vocals_and_no_two_bass_lines(planned):
    plan, stems = planned
    recipe = by_name[plan.recipe]
    met = {overlap.what for overlap in overlaps(plan, **stems)}
    assert met <= set(recipe.on_purpose)


def test_two_songs_at_once_are_found_out(end_facts, start_facts):
    recipe = by_name["bar-aligned overlap"]
    whole = replace(
        recipe,
        layers=(
            RecipeLayer(
                source="outgoing", start=parse_position("start"), end=parse_position("entry + 4")
            ),
            RecipeLayer(
                source="incoming", start=parse_position("entry"), end=parse_position("end")
            ),
        ),
    )
    plan = plan_segue(whole, end_facts("A minor", 100.0), start_facts("C major", 101.0))
    found = {overlap.what: overlap for overlap in overlaps(plan)}
    assert set(found) == {"two vocals", "two bass lines"}
    assert found["two vocals"].n_beats == pytest.approx(16, abs=0.3)


@given(pairs())
@settings(max_examples=60)
def test_pads_lead_to_the_entry_without_gaps(pair):
    for recipe in SHELF:
        try:
            plan = plan_segue(recipe, *pair)
        except TempoTooFarError:
            continue
        for pad in (x for x in plan.layers if isinstance(x, PadLayer)):
            assert all(a.end_beat == b.start_beat for a, b in pairwise(pad.voicings))
            assert pad.end_beat >= plan.entry_beat - 1e-6


@pytest.mark.parametrize("recipe", [pytest.param(r, id=r.name) for r in SHELF])
def test_every_recipe_is_at_home_somewhere(recipe, end_facts, start_facts):
    from segue.plan import Given, suitability

    home = Given(talk_s=20.0 if recipe.suits.talk == "yes" else None)
    best = max(
        suitability(
            recipe,
            end_facts("A minor", bpm, kind=ending),
            start_facts(key, 100.0, kind=opening, loudness_lufs=lufs),
            home,
        )
        for bpm in (84.0, 100.0, 118.0)
        for key in ("C major", "Bb minor", "Eb major")
        for ending in ("keeps going", "cold stop", "ring-out")
        for opening in ("on the beat", "pick-up", "free intro")
        for lufs in (-16.0, -8.0)
    )
    assert best > 0.9


def test_the_shelf_offers_at_least_a_dozen_ways_of_many_kinds():
    assert len(SHELF) >= 12
    assert len({recipe.family for recipe in SHELF}) >= 10


@given(plans())
@settings(max_examples=250)
def test_all_that_play_chords_play_the_same(planned):
    plan, _ = planned
    playing = [x.voicings for x in plan.layers if isinstance(x, PadLayer | PlayedLayer)]
    for beat in range(round(plan.exit_beat), round(plan.entry_beat)):
        chords = {
            voicing.symbol
            for voicings in playing
            for voicing in voicings
            if voicing.start_beat <= beat + 0.5 < voicing.end_beat
        }
        assert len(chords) <= 1, (plan.recipe, beat, chords)
