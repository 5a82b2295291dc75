"""Tuning and the makers of a bridge between synthetic bands; bad faults keep from the first."""

from dataclasses import replace

import pytest

from segue.score import score_candidate
from segue.score.card import bad_faults
from segue.score.scorecard import Scorecard, ties_of_cards
from segue.score.weights import PURPOSES, costliest_first, costs, overall, weights_for
from tests.runfolder.records import measure_of
from tests.score.synthetic import Recipe, facts_of, make_candidate, plan_of


def out_of_tune(cents):
    recipe = Recipe()
    plan = plan_of(recipe)
    layers = tuple(
        replace(
            layer,
            voicings=tuple(
                replace(v, notes_midi=tuple(n + cents / 100 for n in v.notes_midi))
                for v in layer.voicings
            ),
        )
        if hasattr(layer, "voicings")
        else layer
        for layer in plan.layers
    )
    moved = replace(plan, layers=layers)
    return score_candidate(make_candidate(recipe, moved), *facts_of(recipe))


def test_a_bridge_out_of_tune_is_told_in_cents_and_is_a_bad_fault():
    sane, sour = out_of_tune(0.0), out_of_tune(35.0)
    assert sane.measure("tuning").score == 1.0
    assert sour.measure("tuning").value == pytest.approx(35.0, abs=5.0)
    assert [fault.name for fault in sour.faults] == ["tuning"]
    assert not sane.faults


def test_a_made_bridge_is_less_of_the_songs_than_their_own_overlap(score_of):
    made = score_of().measure("own_music")
    own = score_of(outgoing_overlap_beats=16).measure("own_music")
    assert made.value < 0.2 < 0.4 < own.value
    assert own.score > made.score


def test_what_is_cut_out_of_the_songs_is_theirs_beside_what_is_made():
    recipe = Recipe()
    made, facts = make_candidate(recipe), facts_of(recipe)

    def told(own_share):
        return score_candidate(replace(made, own_share=own_share), *facts).measure("own_music")

    nothing, part, everything = told(0.0), told(0.4), told(1.0)
    assert part.value == pytest.approx(0.4 + 0.6 * nothing.value)
    assert nothing.score < part.score < everything.score
    assert part.sentence.startswith("42 % of the bridge comes from the two songs")
    assert everything.sentence.startswith("All of the bridge comes from the two songs")


@pytest.mark.parametrize(
    ("name", "fine", "bad"),
    [
        ("hole", 1.0, 1.1),
        ("last_chord", 0.5, 0.45),
        ("tuning", 15.0, 16.0),
        ("entry_timing", -50.0, -51.0),
        ("voices", 1.0, 1.1),
        ("landing", 12.0, None),
    ],
)
def test_what_is_a_bad_fault(name, fine, bad):
    assert bad_faults([measure_of(name, value=fine)]) == ()
    if bad is not None:
        (found,) = bad_faults([measure_of(name, value=bad)])
        assert found.name == name
        assert found.sentence


def test_a_card_with_a_bad_fault_comes_last_and_ties_with_nobody():
    faulty = bad_faults([measure_of("hole", value=2.0)])
    cards = [
        Scorecard(measures=(), overall=0.9, faults=faulty),
        Scorecard(measures=(), overall=0.898),
        Scorecard(measures=(), overall=0.896),
    ]
    best_first = sorted(cards, key=lambda card: card.order)
    assert [card.overall for card in best_first] == [0.898, 0.896, 0.9]
    assert ties_of_cards(best_first) == (False, True, False)


@pytest.mark.parametrize("purpose", [None, *PURPOSES])
def test_what_the_marks_cost_is_together_all_that_is_missing(purpose):
    weights = weights_for(purpose)
    marks = {"hole": 0.2, "drive": 0.9, "own_music": 0.0, "landing": 1.0, "given up": 0.3}
    measures = [measure_of(name, score=mark) for name, mark in marks.items()]
    cost = costs(measures, weights=weights)
    known = [m for m in measures if m.name in weights]
    assert sum(cost.values()) == pytest.approx(1.0 - overall(known, weights=weights))
    assert cost["landing"] == cost["given up"] == 0.0
    first = costliest_first(measures, weights=weights)
    assert [cost[m.name] for m in first] == sorted(cost.values(), reverse=True)
    assert costs([], weights=weights) == {}
