"""The tempo of interludes: moves, lengths, talk, and what is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.errors import SegueError
from segue.music.tempo import TempoCurve
from segue.plan import Given, plan_segue, proposals, suitability
from segue.plan.layer import SongLayer
from segue.plan.tempo_spans import (
    TempoChange,
    TempoTooFarError,
    check_tempo,
    interlude_bars,
    interlude_spans,
)
from segue.recipes.position import parse_position
from segue.recipes.recipe import Length, Recipe, RecipeLayer, Tempo


def recipe_of(move, *, least=4, default=4, most=8, counted_by="incoming", tempo=None, **length):
    layers = (
        RecipeLayer(source="outgoing", start=parse_position("start"), end=parse_position("exit")),
        RecipeLayer(source="incoming", start=parse_position("entry"), end=parse_position("end")),
    )
    return Recipe(
        schema_version=1,
        name=f"{move} trial",
        family="trial",
        summary="A trial.",
        why="A trial.",
        length=Length(least=least, default=default, most=most, counted_by=counted_by, **length),
        tempo=Tempo(move=move, **(tempo or {})),
        layers=layers,
    )


def test_hold_keeps_the_old_tempo_up_to_the_entry(end_facts, start_facts):
    plan = plan_segue(recipe_of("hold"), end_facts(bpm=124.0), start_facts(bpm=96.0))
    assert plan.tempo.bpm_at(plan.entry_beat - 1e-6) == pytest.approx(124)
    assert plan.tempo.bpm_at(plan.entry_beat) == pytest.approx(96)


def test_half_time_counts_half_the_new_tempo_until_the_steady_bars(end_facts, start_facts):
    recipe = recipe_of("half-time", tempo={"steady_bars": 2})
    plan = plan_segue(recipe, end_facts(bpm=124.0), start_facts(bpm=96.0))
    assert plan.tempo.bpm_at(plan.exit_beat) == pytest.approx(48)
    assert plan.tempo.bpm_at(plan.entry_beat - 8 - 1e-6) == pytest.approx(48)
    assert plan.tempo.bpm_at(plan.entry_beat - 8) == pytest.approx(96)


def test_a_ramp_waits_for_the_bars_that_are_held(end_facts, start_facts):
    recipe = recipe_of("geometric", least=8, default=8, tempo={"held_bars": 2, "steady_bars": 1})
    plan = plan_segue(recipe, end_facts(bpm=124.0), start_facts(bpm=96.0))
    metre = (plan.entry_beat - plan.exit_beat) / 8
    assert plan.tempo.bpm_at(plan.exit_beat + 2 * metre) == pytest.approx(124)
    assert plan.tempo.bpm_at(plan.exit_beat + 3 * metre) < 123
    assert plan.tempo.bpm_at(plan.entry_beat - metre) == pytest.approx(96)


def test_a_ramp_keeps_a_bar_to_move_in_however_long_it_is_to_wait(end_facts, start_facts):
    recipe = recipe_of("linear", least=8, default=8, tempo={"held_bars": 8, "steady_bars": 2})
    plan = plan_segue(recipe, end_facts(bpm=100.0), start_facts(bpm=96.0))
    moving = plan.entry_beat - 12, plan.entry_beat - 8  # the bar before the two steady ones
    assert plan.tempo.bpm_at(moving[0]) == pytest.approx(100)
    assert plan.tempo.bpm_at(sum(moving) / 2) == pytest.approx(98, abs=0.1)
    assert plan.tempo.bpm_at(moving[1]) == pytest.approx(96)


def test_nobody_counts_free_time_before_the_count_in(end_facts, start_facts):
    plan = plan_segue(recipe_of("free"), end_facts(bpm=124.0), start_facts(bpm=96.0))
    assert plan.click[0].beat == plan.entry_beat - 8
    assert plan.tempo.bpm_at(plan.exit_beat) == pytest.approx(96)


@pytest.mark.parametrize("move", ["hold", "step", "half-time", "free", "linear"])
@pytest.mark.parametrize("talk_s", [3.0, 25.0, 70.0])
def test_talk_gets_its_whole_bars_and_one_more(move, talk_s, end_facts, start_facts):
    recipe = recipe_of(move, least=2, default=4, most=4, fills_talk=True)
    plan = plan_segue(recipe, end_facts(), start_facts(), talk_s=talk_s)
    metre = start_facts().pulse.metre

    def left_s(bars):
        last = plan.entry_beat - bars * metre
        return plan.seconds_at(last) - plan.seconds_at(plan.exit_beat)

    assert left_s(1) >= talk_s - 0.011
    n_bars = (plan.entry_beat - plan.exit_beat) / metre
    assert n_bars == 2 or left_s(2) < talk_s or move in ("half-time", "linear")


def test_too_little_room_for_the_talk_is_said(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["stop and count-in"], end_facts(), start_facts(), talk_s=25.0)
    assert any("Only 5 of the 25 seconds" in note for note in plan.notes)


def test_a_ramp_above_six_per_cent_a_beat_is_refused_with_a_better_idea(end_facts, start_facts):
    # Limit: C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993.
    steep = recipe_of("geometric", least=2, default=2, most=2, tempo={"steady_bars": 1})
    with pytest.raises(TempoTooFarError, match=r"8\.8 % a beat.*half-time.*stop") as told:
        plan_segue(steep, end_facts(bpm=100.0), start_facts(bpm=140.0))
    assert isinstance(told.value, SegueError)
    assert suitability(steep, end_facts(bpm=100.0), start_facts(bpm=140.0)) == 0.0
    assert not proposals((steep,), end_facts(bpm=100.0), start_facts(bpm=140.0))


def test_music_beyond_twice_its_tempo_is_refused(end_facts, start_facts):
    # 60 BPM against 172: as half-time still 60 to 86; carried into half of 50 it is below a half.
    carried = recipe_of("half-time", counted_by="outgoing", carry_bars=-1)
    with pytest.raises(TempoTooFarError, match="less than half"):
        plan_segue(carried, end_facts(bpm=124.0), start_facts(bpm=96.0))


bpms = st.floats(40, 220)


@given(
    old=bpms,
    new=bpms,
    metre=st.sampled_from([3, 4, 6]),
    move=st.sampled_from(["hold", "step", "linear", "geometric", "half-time", "free"]),
    steady=st.integers(0, 3),
    held=st.integers(0, 3),
    talk_s=st.sampled_from([None, 10.0, 40.0]),
)
@settings(max_examples=200)
def test_spans_fill_the_interlude_and_arrive_or_are_refused(
    old, new, metre, move, steady, held, talk_s
):
    change = TempoChange(old_bpm=old, new_bpm=new, metre=metre, octave=1.0, carry_pace=1.0)
    tempo = {"steady_bars": steady, "held_bars": held}
    recipe = recipe_of(move, fills_talk=True, tempo=tempo)
    n_bars = interlude_bars(change, recipe, talk_s=talk_s)
    spans = interlude_spans(change, recipe.tempo, n_bars)
    curve = TempoCurve(spans=spans)
    assert curve.n_beats == pytest.approx(n_bars * metre)
    try:
        check_tempo(change, recipe, spans)
    except TempoTooFarError:
        assert move in ("linear", "geometric")
        return
    if move in ("linear", "geometric"):
        assert spans[-1].end_bpm == pytest.approx(new)
        for beat in range(round(curve.n_beats)):
            a, b = sorted((curve.bpm_at(beat), curve.bpm_at(beat + 1)))
            assert b / a <= 1.06 + 1e-9
        assert 0.5 - 1e-9 <= new / old <= 2 + 1e-9


def test_the_old_song_plays_on_over_the_new_beats(shelf, end_facts, start_facts):
    old, new = end_facts("A minor", 100.0), start_facts("C major", 103.0)
    plan = plan_segue(shelf["bar-aligned overlap"], old, new)
    drums = next(x for x in plan.layers if isinstance(x, SongLayer) and x.part == "percussive")
    assert drums.end_beat == pytest.approx(plan.entry_beat + 16)
    at = {round(p.beat, 6): p.source_s for p in drums.time_map}
    # One of its beats to each beat of the new song, and its music lasts until the end of the file.
    for beat in range(round(plan.entry_beat), round(drums.end_beat)):
        assert at[beat + 1.0] - at[float(beat)] == pytest.approx(0.6)
    assert at[round(drums.end_beat, 6)] == pytest.approx(old.edge_end_s)


def test_talk_picks_what_leaves_room_for_it(shelf, end_facts, start_facts):
    pair = end_facts("A minor", 100.0, kind="cold stop"), start_facts("C major", 103.0)
    talked = proposals(tuple(shelf.values()), *pair, given=Given(talk_s=25.0))
    assert talked[0].name == "talk bed"
    assert all(recipe.suits.talk != "no" for recipe in talked)
    silent = proposals(tuple(shelf.values()), *pair)
    assert all(recipe.suits.talk != "yes" for recipe in silent)


@pytest.mark.parametrize(("counted_by", "beats"), [("outgoing", 3), ("incoming", 4)])
def test_the_bars_of_the_interlude_are_those_of_the_song_it_is_counted_by(
    end_facts, start_facts, counted_by, beats
):
    recipe = recipe_of("hold", counted_by=counted_by)
    plan = plan_segue(recipe, end_facts(bpm=120.0, metre=3), start_facts(bpm=120.0))
    assert plan.entry_beat - plan.exit_beat == pytest.approx(4 * beats)
