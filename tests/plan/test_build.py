"""Plans: where songs are left and entered, how the beats run, what is counted."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.music.key import ALL_KEYS
from segue.plan import plan_segue
from segue.plan.layer import PadLayer, SongLayer
from segue.recipes import load_recipes, shelf_folder
from tests.plan import song_facts

SHELF = load_recipes(shelf_folder())
recipe_names = pytest.mark.parametrize("recipe", [pytest.param(r, id=r.name) for r in SHELF])


def source_at(layer, plan, beat):
    """Second of the song that sounds at a beat, by the layer's time map."""
    for a, b in pairwise(layer.time_map):
        if a.beat - 1e-9 <= beat <= b.beat + 1e-9:
            share = (plan.seconds_at(beat) - plan.seconds_at(a.beat)) / (
                plan.seconds_at(b.beat) - plan.seconds_at(a.beat)
            )
            return a.source_s + share * (b.source_s - a.source_s)
    raise AssertionError(f"beat {beat} outside the map")


def song_layers(plan, song):
    return [x for x in plan.layers if isinstance(x, SongLayer) and x.song == song]


@recipe_names
def test_incoming_song_enters_on_its_bar_one(recipe, end_facts, start_facts):
    new = start_facts(kind="pick-up", pickup_beats=1.0)
    plan = plan_segue(recipe, end_facts(), new)
    layer = song_layers(plan, "incoming")[-1]
    at_entry = source_at(layer, plan, plan.entry_beat)
    assert at_entry == pytest.approx(new.opening.first_downbeat_s, abs=1e-6)
    # The pick-up sounds before the entry.
    assert layer.start_beat < plan.entry_beat - 0.99


@recipe_names
def test_songs_are_not_stretched_outside_the_interlude(recipe, end_facts, start_facts):
    plan = plan_segue(recipe, end_facts(), start_facts())
    for layer in song_layers(plan, "outgoing") + song_layers(plan, "incoming"):
        for a, b in pairwise(layer.time_map):
            before, after = b.beat <= plan.exit_beat, a.beat >= plan.entry_beat
            if before if layer.song == "outgoing" else after:
                seconds = plan.seconds_at(b.beat) - plan.seconds_at(a.beat)
                assert b.source_s - a.source_s == pytest.approx(seconds, abs=1e-9)


@recipe_names
def test_bar_lines_are_the_songs_own_bars(recipe, end_facts, start_facts):
    old, new = end_facts(), start_facts()
    plan = plan_segue(recipe, old, new)
    outgoing, incoming = song_layers(plan, "outgoing")[0], song_layers(plan, "incoming")[-1]
    for line in plan.bar_lines:
        layer = {"outgoing": outgoing, "incoming": incoming}.get(line.section)
        if layer is None:
            continue
        truth = (old if line.section == "outgoing" else new).pulse.downbeats_s
        source = source_at(layer, plan, line.beat)
        assert min(abs(source - t) for t in truth) < 1e-6
    assert [line.number for line in plan.bar_lines] == list(range(1, len(plan.bar_lines) + 1))


def test_a_song_that_keeps_going_is_left_at_its_last_bar_line(shelf, end_facts, start_facts):
    old = end_facts()
    plan = plan_segue(shelf["pad in the new key"], old, start_facts())
    layer = song_layers(plan, "outgoing")[0]
    assert source_at(layer, plan, plan.exit_beat) == pytest.approx(old.edge_end_s, abs=1e-6)


@pytest.mark.parametrize(
    ("kind", "beats"),
    [
        pytest.param("cold stop", 0, id="the interlude begins on the hit"),
        pytest.param("ring-out", 4, id="the last chord keeps its bar"),
    ],
)
def test_where_a_song_with_a_last_hit_on_one_is_left(kind, beats, shelf, end_facts, start_facts):
    old = end_facts(kind=kind, last_hit_beats_before_end=4.0)
    plan = plan_segue(shelf["pad in the new key"], old, start_facts())
    layer = song_layers(plan, "outgoing")[0]
    exit_s = source_at(layer, plan, plan.exit_beat)
    assert exit_s - old.ending.last_hit_s == pytest.approx(beats * 60 / 124, abs=1e-6)


def test_nothing_is_planned_beyond_the_end_of_the_file(shelf, end_facts, start_facts):
    old = end_facts(kind="ring-out", last_hit_beats_before_end=1.0)
    for recipe in shelf.values():
        for layer in song_layers(plan_segue(recipe, old, start_facts()), "outgoing"):
            assert layer.time_map[-1].source_s <= old.edge_end_s + 1e-6


def test_a_song_whose_first_bar_is_its_first_sound_needs_no_lead_in(shelf, end_facts, start_facts):
    old = end_facts(n_bars=5)
    early = tuple(t - old.edge_start_s for t in old.pulse.beats_s)
    pulse = replace(old.pulse, beats_s=early, downbeats_s=early[:: old.pulse.metre])
    ending = replace(old.ending, last_hit_s=early[-1], sound_end_s=early[-1] + 0.4)
    whole = replace(
        old, pulse=pulse, ending=ending, edge_start_s=0.0, edge_end_s=old.edge_end_s - 100.0
    )
    for recipe in shelf.values():
        plan = plan_segue(recipe, whole, start_facts())
        assert song_layers(plan, "outgoing")[0].time_map[0].source_s >= 0.0


def test_a_free_intro_a_hair_before_a_beat_is_planned(shelf, end_facts, start_facts):
    new = start_facts(kind="free intro", pickup_beats=3.0)
    for hair in (0.0, 1e-12, 1e-9, 1e-4):
        opening = replace(new.opening, sound_start_s=new.pulse.beats_s[0] - hair)
        plan = plan_segue(shelf["pad in the new key"], end_facts(), replace(new, opening=opening))
        assert plan.duration_s > 0


def test_ramp_goes_from_tempo_to_tempo_and_ends_steady(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["tempo ramp"], end_facts(), start_facts())
    assert plan.tempo.bpm_at(plan.exit_beat) == pytest.approx(124)
    assert plan.tempo.bpm_at(plan.entry_beat - 0.01) == pytest.approx(96)
    # Listeners expect about half of the next step of a gradual change: end on steady beats.
    assert plan.tempo.bpm_at(plan.entry_beat - 2) == pytest.approx(96)
    beats = range(int(plan.exit_beat), int(plan.entry_beat))
    steps = [plan.tempo.bpm_at(b + 1) / plan.tempo.bpm_at(b) for b in beats]
    # No single beat may change by 6 %, the just-noticeable change of one interval
    # (Drake & Botte, Perception & Psychophysics 54(3), 1993).
    assert max(abs(math.log(s)) for s in steps) < math.log(1.06)


def test_double_tempo_counts_as_half_time(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["tempo ramp"], end_facts(bpm=172.0), start_facts(bpm=88.0))
    assert plan.tempo_octave == 0.5
    before = plan.tempo.bpm_at(plan.entry_beat - 0.01)
    assert before == pytest.approx(176.0)
    assert plan.tempo.bpm_at(plan.entry_beat + 0.01) == pytest.approx(88.0)


@recipe_names
def test_two_bars_are_counted_in_on_the_grid(recipe, end_facts, start_facts):
    # Common practice, no source: two bars of count-in.
    plan = plan_segue(recipe, end_facts(), start_facts())
    before = [hit for hit in plan.click if hit.beat < plan.entry_beat - 1e-6]
    assert len(before) >= 8
    assert {hit.beat for hit in before} >= {plan.entry_beat - n for n in range(1, 9)}
    accents = [hit.beat for hit in before if hit.kind == "bar"]
    assert {plan.entry_beat - 4, plan.entry_beat - 8} <= set(accents)


def test_singer_hears_the_first_note_two_bars_ahead(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["pad in the new key"], end_facts(), start_facts(first_note_s=5.0))
    notes = [note for note in plan.cue if note.midi == 65.0]
    assert min(note.start_beat for note in notes) <= plan.entry_beat - 8
    assert plan.seconds_at(plan.singer_beat) - plan.seconds_at(plan.entry_beat) == pytest.approx(
        5.0 - 0.1, abs=1e-6
    )


def test_matched_levels_meet_at_the_target_without_boosting(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["filtered tail"],
        end_facts(loudness_lufs=-9.0),
        start_facts(loudness_lufs=-20.0),
        match=True,
    )
    assert plan.outgoing_gain_db == pytest.approx(plan.target_lufs + 9.0)
    assert plan.incoming_gain_db == pytest.approx(plan.target_lufs + 20.0)
    assert plan.outgoing_gain_db <= 0
    assert plan.incoming_gain_db <= 1e-9


def test_songs_keep_the_levels_they_have_in_the_set(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["filtered tail"], end_facts(loudness_lufs=-9.0), start_facts(loudness_lufs=-20.0)
    )
    assert plan.outgoing_gain_db == plan.incoming_gain_db == pytest.approx(-16.0 + 9.0)
    assert -27.0 < plan.target_lufs < -16.0


def test_a_silent_song_moves_nobody(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["filtered tail"],
        end_facts(loudness_lufs=-14.0),
        start_facts(loudness_lufs=float("-inf")),
    )
    assert plan.outgoing_gain_db == pytest.approx(-2.0)
    assert plan.target_lufs == pytest.approx(-16.0)


def test_pad_ends_on_the_new_dominant_before_the_entry(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["pad in the new key"], end_facts(), start_facts())
    (pad,) = [x for x in plan.layers if isinstance(x, PadLayer)]
    before = [v for v in pad.voicings if v.start_beat < plan.entry_beat]
    assert before[-1].roman_to == "V7"
    assert before[-1].end_beat == plan.entry_beat
    assert all(a.end_beat == b.start_beat for a, b in pairwise(pad.voicings))


def test_free_time_is_said(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["stop and count-in"],
        end_facts(confidence=0.1),
        start_facts(kind="free intro", confidence=0.1),
    )
    assert any("No clear pulse at the end of 'Old Song'" in note for note in plan.notes)
    assert not [hit for hit in plan.click if hit.beat > plan.entry_beat]


@given(
    recipe=st.sampled_from(SHELF),
    old_key=st.sampled_from(ALL_KEYS),
    new_key=st.sampled_from(ALL_KEYS),
    old_bpm=st.floats(50, 200),
    new_bpm=st.floats(50, 200),
    old_metre=st.sampled_from([3, 4, 6]),
    new_metre=st.sampled_from([3, 4, 6]),
    ending=st.sampled_from(["keeps going", "cold stop", "ring-out", "fade"]),
    opening=st.sampled_from(["on the beat", "pick-up", "free intro"]),
    n_bars=st.integers(3, 20),
)
@settings(max_examples=150)
def test_any_pair_gives_a_plan_that_holds_together(
    recipe, old_key, new_key, old_bpm, new_bpm, old_metre, new_metre, ending, opening, n_bars
):
    old = song_facts.end_facts(str(old_key), old_bpm, kind=ending, metre=old_metre, n_bars=n_bars)
    pickup = 1.0 if opening == "pick-up" else 0.0
    new = song_facts.start_facts(
        str(new_key), new_bpm, kind=opening, metre=new_metre, n_bars=n_bars, pickup_beats=pickup
    )
    plan = plan_segue(recipe, old, new)
    assert plan.duration_s > 0
    beats = [line.beat for line in plan.bar_lines]
    assert beats == sorted(set(beats))
    for layer in plan.layers:
        assert layer.start_beat < layer.end_beat
        if isinstance(layer, SongLayer):
            assert layer.time_map[0].source_s >= 0
            assert layer.end_beat <= plan.end_beat + 1e-6
    sections = {line.section for line in plan.bar_lines}
    assert {"outgoing", "interlude"} <= sections


@recipe_names
def test_a_song_of_a_single_bar_is_played_for_a_bar_and_no_more(recipe, end_facts, start_facts):
    """A bar of sound that is not there would be silence after bar one."""
    new = start_facts(n_bars=1)
    new = replace(new, duration_s=new.edge_end_s)
    plan = plan_segue(recipe, end_facts(), new)
    assert plan.end_beat - plan.entry_beat == pytest.approx(4)
    for layer in song_layers(plan, "incoming"):
        assert layer.start_beat < layer.end_beat <= plan.end_beat
