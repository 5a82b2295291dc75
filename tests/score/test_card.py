"""Laws of the whole scorecard."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score import PURPOSES, score_candidate
from segue.score.weights import WEIGHTS
from tests.score.synthetic import Recipe, facts_of, make_candidate, scaled, with_music

LEVEL_MEASURES = {"true_peak", "hole"}
TONAL = ("key_distance", "tonal_path", "landing", "key_arrival", "old_key", "cadence")
CHROMA_TOLERANCE = 0.2
"""The bass line folds into one octave at another note in each key, which colours the chroma."""
JOIN = {"interlude_beats": 0}


def test_gain_changes_nothing_but_level(score_of):
    recipe = Recipe()
    quiet = score_candidate(scaled(make_candidate(recipe), 0.5), *facts_of(recipe))
    for before, after in zip(score_of().measures, quiet.measures, strict=True):
        assert before.name == after.name
        if before.name not in LEVEL_MEASURES:
            assert after.value == pytest.approx(before.value, abs=1e-3), before.name
    drop_lu = score_of().loudness_lufs[100].value - quiet.loudness_lufs[100].value
    assert drop_lu == pytest.approx(20 * math.log10(2), abs=1e-3)


@pytest.mark.parametrize("semitones", [1, 5, 10])
def test_transposing_the_candidate_changes_nothing_tonal(score_of, semitones):
    keys = {"key_from": "E minor", "key_to": "F minor"}
    moved = score_of(**{k: parse_key(v).transposed(semitones) for k, v in keys.items()})
    for name in TONAL:
        assert moved.measure(name).score == pytest.approx(
            score_of().measure(name).score, abs=CHROMA_TOLERANCE
        ), name
    assert moved.measure("key_distance").value == score_of().measure("key_distance").value


def test_scoring_twice_gives_the_same_card(score_of):
    recipe = Recipe()
    assert score_candidate(make_candidate(recipe), *facts_of(recipe)) == score_of()


@pytest.mark.parametrize("sound", ["silence", "noise", "hard cut"])
def test_what_is_no_segue_scores_clearly_lower(score_of, sound):
    recipe = Recipe()
    candidate = make_candidate(recipe)
    n_frames = candidate.music.n_frames
    if sound == "hard cut":
        bad = score_of(**JOIN)
    else:
        noise = 0.1 * np.random.default_rng(3).normal(size=n_frames)
        music = noise if sound == "noise" else np.zeros(n_frames)
        bad = score_candidate(with_music(candidate, music), *facts_of(recipe))
    assert bad.overall < score_of().overall - 0.2


def test_semitone_neighbours_join_worse_than_a_fourth_or_fifth(score_of):
    # common practice, no source
    plain = {k: score_of(key_to=parse_key(k), **JOIN) for k in ("F minor", "A minor", "B minor")}
    assert plain["F minor"].overall < min(plain["A minor"].overall, plain["B minor"].overall)


def test_a_good_pad_halves_the_gap_between_a_semitone_and_a_fourth(score_of):
    # common practice, no source; the keys differ and nothing else
    far, near = parse_key("F minor"), parse_key("A minor")
    plain = score_of(key_to=near, **JOIN).overall - score_of(key_to=far, **JOIN).overall
    for start in ("pivot", "new key"):
        pads = [score_of(key_to=key, pad_start=start).overall for key in (near, far)]
        assert abs(pads[0] - pads[1]) <= plain / 2, start


def test_every_measure_has_a_weight_for_every_purpose(score_of):
    for measure in score_of(outgoing_overlap_beats=24).measures + score_of().measures:
        assert set(WEIGHTS[measure.name]) == {None, *PURPOSES}


def test_overall_is_the_weighted_mean(score_of):
    recipe, dance = Recipe(), "dance"
    card = score_candidate(make_candidate(recipe), *facts_of(recipe), purpose=dance)
    weights = [WEIGHTS[m.name][dance] for m in card.measures]
    expected = np.average([m.score for m in card.measures], weights=weights)
    assert card.overall == pytest.approx(expected)
    assert card.overall != score_of().overall


def test_every_measure_tells_its_threshold_source_and_finding(score_of):
    for measure in score_of().measures:
        assert measure.threshold, measure.name
        assert measure.source, measure.name
        assert measure.sentence.endswith("."), measure.name


def test_curves_cover_the_candidate(score_of):
    card, duration_s = score_of(), make_candidate(Recipe()).music.duration_s
    for curve in (card.loudness_lufs, card.key_distance_from, card.key_distance_to, card.tempo_bpm):
        assert curve[0].time_s < 1.0
        assert duration_s - 1.5 < curve[-1].time_s <= duration_s
    assert all(0.0 <= s.value <= 1.0 for s in card.key_distance_to)
    assert card.tempo_bpm[2].value == pytest.approx(124.0, rel=0.005)
    assert card.tempo_bpm[-4].value == pytest.approx(96.0, rel=0.005)


def test_key_distance_curves_cross_on_the_way(score_of):
    card, recipe = score_of(), Recipe()
    plan = make_candidate(recipe).plan
    first = list(zip(card.key_distance_from, card.key_distance_to, strict=True))
    before = [(a.value, b.value) for a, b in first if 3.0 < a.time_s < plan.seconds_at(14.0)]
    after = [(a.value, b.value) for a, b in first if a.time_s > plan.seconds_at(40.0)]
    assert np.mean(before, axis=0)[0] < np.mean(before, axis=0)[1]
    assert np.mean(after, axis=0)[0] > np.mean(after, axis=0)[1]


def test_unknown_singer_leaves_the_runway_out():
    recipe = Recipe(singer_beat=None)
    card = score_candidate(make_candidate(recipe), *facts_of(recipe))
    with pytest.raises(KeyError, match="runway"):
        card.measure("runway")


def test_a_song_in_free_time_is_not_asked_for_beats():
    recipe = Recipe()
    candidate = make_candidate(recipe)
    old, new = facts_of(recipe)
    free = replace(new, pulse=replace(new.pulse, confidence=0.1))
    silent = with_music(candidate, np.zeros(candidate.music.n_frames))
    told, asked = (score_candidate(silent, old, facts) for facts in (free, new))
    assert "entry_timing" not in {m.name for m in (*told.measures, *told.not_measured)}
    assert "entry_timing" in {m.name for m in asked.not_measured}


def test_own_weights_take_the_place_of_the_table(score_of):
    recipe, own = Recipe(), dict.fromkeys(WEIGHTS, 1.0)
    card = score_candidate(make_candidate(recipe), *facts_of(recipe), weights=own)
    assert card.overall == pytest.approx(np.mean([m.score for m in card.measures]))


@pytest.mark.parametrize("confidence", [0.49, 0.5])
def test_bar_one_is_off_the_grid_only_of_a_song_whose_beats_are_sure(confidence):
    recipe = Recipe(late_s=0.08)
    old, new = facts_of(recipe)
    new = replace(new, pulse=replace(new.pulse, confidence=confidence))
    card = score_candidate(make_candidate(recipe), old, new)
    assert card.measure("entry_timing").score < 0.1
    told = [fault.words for fault in card.faults if fault.name == "entry_timing"]
    assert len(told) == (confidence >= 0.5)
    assert all("without one come first: bar one is off the grid" in words for words in told)
