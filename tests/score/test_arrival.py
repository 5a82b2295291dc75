"""The arrival of the new key, and what a singer has of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from segue.plan.layer import DrumHit, DrumLayer
from segue.plan.plan import CueNote
from segue.score import score_candidate
from segue.score.arrival import CUE_WORTH_S
from tests.score.synthetic import Recipe, facts_of, make_candidate


def test_a_dominant_does_not_end_the_key_it_belongs_to(score_of):
    # the last bar is the dominant or the tonic: the key has been there for as long
    with_dominant = score_of().measure("key_arrival").value
    without = score_of(has_cadence=False).measure("key_arrival").value
    assert with_dominant == pytest.approx(without, abs=0.5)


def test_a_cue_note_is_worth_some_seconds_and_no_more():
    recipe = Recipe(pad_drums=False, interlude_beats=0, singer_beat=17.0)
    candidate = make_candidate(recipe)
    cue = (CueNote(start_beat=0.0, end_beat=15.0, midi=60.0),)
    cued = replace(candidate, plan=replace(candidate.plan, cue=cue))
    alone, helped = (
        score_candidate(c, *facts_of(recipe)).measure("runway") for c in (candidate, cued)
    )
    assert alone.value < 1.0
    assert helped.value == pytest.approx(CUE_WORTH_S)
    assert 0.0 < helped.score < 1.0
    assert "cue note" in helped.sentence


def test_drums_of_a_bridge_are_a_pulse_to_keep_to():
    recipe = Recipe(late_s=0.05)
    candidate = make_candidate(recipe)
    hits = tuple(DrumHit(beat=float(b), drum="snare") for b in range(16, 32))
    bridge = DrumLayer(name="drums", song="outgoing", start_beat=16.0, end_beat=32.0, hits=hits)
    plan = replace(candidate.plan, layers=(*candidate.plan.layers, bridge))
    told = score_candidate(replace(candidate, plan=plan), *facts_of(recipe))
    assert "against the pulse before it" in told.measure("entry_timing").sentence
    assert told.measure("entry_timing").value == pytest.approx(50.0, abs=5.0)


def test_a_soft_first_bar_is_no_fault_of_the_match():
    from segue.score import level_steps
    from segue.score.listening_to import hear
    from tests.score.synthetic import stereo

    recipe = Recipe()
    candidate = make_candidate(recipe)
    start, rate_hz = candidate.plan.seconds_at(recipe.entry_beat), candidate.music.rate_hz
    sound = candidate.music.samples[:, 0].copy()
    bar = slice(round(start * rate_hz), round((start + 2.5) * rate_hz))
    sound[bar] *= 0.3
    soft = replace(candidate, music=stereo(sound))
    marks = [level_steps.level_match(hear(c, *facts_of(recipe))).score for c in (candidate, soft)]
    assert marks[1] == pytest.approx(marks[0], abs=0.1)
