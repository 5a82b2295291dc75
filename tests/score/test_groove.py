"""The groove of bridges between synthetic bands: a beat, a way into bar one, two grooves."""

from dataclasses import replace

import numpy as np
import pytest

from segue.plan.layer import MapPoint, SongLayer
from segue.score import score_candidate
from tests.score.synthetic import EXIT_BEAT, Recipe, facts_of, make_candidate, mixed_anew, stereo
from tests.score.synthetic_band import play_voice

TOGETHER = {"bpm_to": 124.0, "ramp_beats": 0, "outgoing_overlap_beats": 32}


def card(recipe, candidate=None, purpose=None):
    return score_candidate(candidate or make_candidate(recipe), *facts_of(recipe), purpose=purpose)


def without_drums(recipe, first, last):
    """The candidate with silence in place of the bridge between two beats, its pad kept."""
    bare = make_candidate(replace(recipe, pad_drums=False))
    made = make_candidate(recipe)
    low, high = (round(made.plan.seconds_at(beat) * made.music.rate_hz) for beat in (first, last))
    sound = made.interlude.samples.copy()
    scale = sound[low:high].std() / max(bare.interlude.samples[low:high].std(), 1e-9)
    sound[low:high] = min(scale, 2.0) * bare.interlude.samples[low:high]
    return mixed_anew(made, interlude=sound)


def test_a_pad_alone_has_no_beat_and_a_dance_is_marked_down_for_it():
    bare = Recipe(pad_drums=False)
    told = card(bare, purpose="dance").measure("pulse")
    assert told.score < 0.2
    assert told.sentence == "Nobody plays a beat for 9 s."
    assert card(Recipe(), purpose="dance").measure("pulse").score > 0.9


@pytest.mark.parametrize("purpose", ["calm", "talk"])
def test_where_no_beat_is_wanted_a_missing_one_has_no_mark(purpose):
    found = card(Recipe(pad_drums=False), purpose=purpose)
    assert "pulse" not in {m.name for m in found.measures}
    assert "nobody plays the beat here" in {n.why for n in found.not_measured}


def test_a_beat_that_drops_out_is_told_with_its_place():
    recipe = Recipe()
    made = without_drums(recipe, EXIT_BEAT + 4, EXIT_BEAT + 10)
    told = card(recipe, made).measure("pulse")
    assert told.score < card(recipe).measure("pulse").score - 0.2
    assert EXIT_BEAT + 3 < told.worst_beat < EXIT_BEAT + 11


def test_the_last_bar_carries_the_beat_into_bar_one():
    recipe = Recipe()
    made = without_drums(recipe, recipe.entry_beat - 4, recipe.entry_beat)
    gone, kept = card(recipe, made).measure("fill"), card(recipe).measure("fill")
    assert gone.score < kept.score - 0.2
    assert "gone" in gone.sentence
    assert "carries" in kept.sentence


def test_two_grooves_out_of_step_clash():
    met, apart = (
        card(Recipe(**TOGETHER, late_s=late_s)).measure("groove_clash") for late_s in (0.0, 0.07)
    )
    assert met.score == 1.0
    assert met.sentence == "Two grooves play as one."
    assert apart.score < 0.5
    assert "do not meet" in apart.sentence
    assert apart.worst_beat == pytest.approx(Recipe(**TOGETHER).entry_beat, abs=3.0)


def test_grooves_of_one_tempo_a_sixteenth_apart_clash_though_their_hits_fall_together():
    apart = card(Recipe(**TOGETHER, late_s=60.0 / 124.0 / 4.0)).measure("groove_clash")
    assert apart.score < 0.2


def test_grooves_an_eighth_apart_play_on_one_grid():
    assert card(Recipe(**TOGETHER, late_s=60.0 / 124.0 / 2.0)).measure("groove_clash").score == 1.0


def test_one_groove_at_a_time_is_no_clash(score_of):
    assert score_of().measure("groove_clash").sentence == "One groove at a time."


def test_a_player_who_lays_back_clashes_with_nobody():
    laid_back = card(Recipe(**TOGETHER, late_s=0.035)).measure("groove_clash")
    assert laid_back.score == 1.0


def test_a_singer_alone_over_the_new_song_is_no_second_groove():
    """Out of step with it, as two singers are: `voices` tells of that."""
    recipe = Recipe()
    made = make_candidate(recipe)
    start = float(recipe.entry_beat)
    sung = np.zeros(made.music.n_frames)
    play_voice(
        sung,
        recipe.key_from,
        lambda b: made.plan.seconds_at(b) + 0.08,
        range(recipe.entry_beat, recipe.entry_beat + 16),
    )
    mixed = mixed_anew(made, outgoing=made.outgoing.samples + stereo(0.5 * sung).samples)
    points = tuple(MapPoint(beat=start + n, source_s=float(n)) for n in (0, 16))
    alone = SongLayer(
        name="voice",
        song="outgoing",
        start_beat=start,
        end_beat=start + 16.0,
        roles=("voice",),
        time_map=points,
    )
    plan = mixed.plan
    known = replace(mixed, plan=replace(plan, layers=(*plan.layers, alone)))
    unknown = replace(mixed, plan=replace(plan, layers=(*plan.layers, replace(alone, roles=()))))
    assert card(recipe, known).measure("groove_clash").score == 1.0
    assert card(recipe, known).measure("voices").score < 0.5
    assert card(recipe, unknown).measure("groove_clash").score < 0.9
