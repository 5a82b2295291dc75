"""Agreement with a band, and weights learned from simulated bands whose taste is known."""

from __future__ import annotations

import numpy as np
import pytest

from segue.score.learned_weights import (
    LEAST_DECISIONS,
    LEAST_FOR_A_TASTE,
    SURE,
    Decision,
    _likelihood,
    agreement,
    fitted_weights,
    taste_of,
    wilson_interval,
)
from segue.score.weights import WEIGHTS, weights_for


def band(weights, n_decisions, *, seed, sharpness=60.0):
    """Decisions of a band that weighs the measures in its own way, and is not always sure."""
    rng = np.random.default_rng(seed)
    names, decisions = list(WEIGHTS), []
    row = np.array([weights[name] for name in names])
    for _ in range(n_decisions):
        scores = rng.uniform(0.2, 1.0, size=(3, len(names)))
        utility = sharpness * scores @ row / row.sum() + rng.gumbel(size=3)
        rows = tuple(dict(zip(names, map(float, s), strict=True)) for s in scores)
        decisions.append(Decision(scores=rows, chosen=int(np.argmax(utility))))
    return decisions


@pytest.mark.parametrize(
    ("n_hits", "n", "low", "high"),
    [
        # E. B. Wilson, JASA 22(158), 1927, without continuity correction; R. G. Newcombe,
        # Statistics in Medicine 17(8), 1998, table I, method 3: 81 of 263, 15 of 148, 0 of 20
        pytest.param(81, 263, 0.2553, 0.3662, id="81 of 263"),
        pytest.param(15, 148, 0.0624, 0.1605, id="15 of 148"),
        pytest.param(0, 20, 0.0, 0.1611, id="none of 20"),
    ],
)
def test_interval_is_wilsons(n_hits, n, low, high):
    assert wilson_interval(n_hits, n) == pytest.approx((low, high), abs=5e-5)


def test_agreement_counts_the_best_scored():
    table = weights_for(None)
    good, bad = dict.fromkeys(WEIGHTS, 0.9), dict.fromkeys(WEIGHTS, 0.3)
    right, wrong = (Decision(scores=(good, bad), chosen=chosen) for chosen in (0, 1))
    found = agreement([right, right, wrong], table)
    assert (found.n_agreed, found.n_decisions, found.by_chance) == (2, 3, 0.5)
    assert found.low < 2 / 3 < found.high


def test_a_band_with_its_own_taste_is_learned():
    own = {**weights_for(None), "pulse": 15.0, "brightness": 8.0, "landing": 0.2}
    fitted = fitted_weights(band(own, 80, seed=3))
    table = weights_for(None)
    assert fitted.gain_nats > 0.02
    assert fitted.held_out_fitted > fitted.held_out_table
    assert fitted.weights["pulse"] > 1.5 * table["pulse"]
    assert fitted.weights["landing"] < table["landing"]
    assert sum(fitted.weights.values()) == pytest.approx(sum(table.values()))


def test_a_band_that_agrees_with_the_table_gains_nothing():
    fitted = fitted_weights(band(weights_for(None), 60, seed=5))
    assert fitted.gain_nats < 0.05


def test_too_few_decisions_fit_nothing():
    few = band(weights_for(None), LEAST_DECISIONS - 1, seed=1)
    with pytest.raises(ValueError, match="fewer than 20"):
        fitted_weights(few)


def test_order_of_candidates_changes_nothing():
    decisions = band(weights_for(None), 30, seed=9)
    turned = [Decision(scores=d.scores[::-1], chosen=2 - d.chosen) for d in decisions]
    table = weights_for(None)
    assert agreement(turned, table) == agreement(decisions, table)
    one, other = fitted_weights(decisions).weights, fitted_weights(turned).weights
    assert one == pytest.approx(other, rel=1e-3)


def test_every_decision_is_held_out_once():
    """So the table agrees with as many of them as it does anyway."""
    decisions = band({**weights_for(None), "pulse": 9.0}, 33, seed=4)
    fitted = fitted_weights(decisions)
    assert fitted.held_out_table == agreement(decisions, weights_for(None)).n_agreed
    assert 0 <= fitted.held_out_fitted <= len(decisions)


def test_nothing_counted_says_nothing():
    assert wilson_interval(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize("seed", range(4))
def test_the_slope_of_the_likelihood_is_that_of_small_steps(seed):
    """By differences, measures that do not apply left out (scipy's own check of gradients)."""
    from scipy.optimize import check_grad

    rng = np.random.default_rng(seed)
    n_measures = 7
    scores = rng.uniform(0.1, 1.0, size=(3, n_measures))
    scores[rng.uniform(size=scores.shape) < 0.2] = np.nan
    base, x = rng.uniform(0.5, 4.0, n_measures), rng.normal(0.0, 0.3, n_measures + 1)

    def likelihood(x):
        return _likelihood(scores, 1, base, x)[0]

    def slope(x):
        return _likelihood(scores, 1, base, x)[1]

    assert likelihood(x) < 0.0
    assert check_grad(likelihood, slope, x) < 1e-4


def options(seed, n):
    """Options of `n` runs, three each, with marks drawn alike for every measure."""
    rng = np.random.default_rng(seed)
    return [tuple({name: float(rng.uniform(0.2, 1.0)) for name in WEIGHTS} for _ in range(3))
            for _ in range(n)]  # fmt: skip


def test_eight_choices_by_one_measure_move_the_first_option_to_it():
    seen, unseen = options(1, 8), options(2, 60)
    best = [max(range(3), key=lambda k, row=row: row[k]["phrase"]) for row in seen + unseen]
    decisions = [Decision(scores=row, chosen=k) for row, k in zip(seen, best, strict=False)]
    found = taste_of(decisions)
    assert found.is_found
    assert next(iter(found.measures)) == "phrase"
    held_out = [Decision(scores=row, chosen=k) for row, k in zip(unseen, best[8:], strict=True)]
    before = agreement(held_out, weights_for(None)).n_agreed
    assert agreement(held_out, found.weights).n_agreed > max(before, 45)


def test_choices_that_the_score_foretells_move_nothing():
    table = weights_for(None)
    rows = options(3, 12)
    chosen = [int(np.argmax([overall_of(marks, table) for marks in row])) for row in rows]
    found = taste_of([Decision(scores=r, chosen=k) for r, k in zip(rows, chosen, strict=True)])
    assert not found.is_found
    assert found.weights == table


def overall_of(marks, weights):
    return sum(weights[name] * mark for name, mark in marks.items())


def test_bands_that_choose_at_random_are_rarely_believed_and_one_with_a_taste_is():
    """Marks that go together in nothing are the hardest case: a taste for any may seem to fit."""
    rng = np.random.default_rng(4)
    n_random, n_own = 0, 0
    for seed in range(40):
        rows = options(seed, 10)
        own = [max(range(3), key=lambda k, row=row: row[k]["phrase"]) for row in rows]
        dice = rng.integers(3, size=10).tolist()
        for chosen, is_own in ((own, True), (dice, False)):
            decisions = [Decision(scores=r, chosen=k) for r, k in zip(rows, chosen, strict=True)]
            n_own += is_own and taste_of(decisions).is_found
            n_random += not is_own and taste_of(decisions).is_found
    assert n_own >= 36
    assert n_random <= 6


def test_chances_of_tastes_add_up():
    found = taste_of(band(weights_for(None), 7, seed=2))
    assert sum(found.measures.values()) == pytest.approx(found.sure)
    assert 0.0 < found.sure < 1.0
    assert found.is_found == (found.sure >= SURE)
    assert sum(found.weights.values()) == pytest.approx(sum(weights_for(None).values()))


def test_too_few_decisions_tell_no_taste():
    with pytest.raises(ValueError, match="fewer than 5"):
        taste_of(band(weights_for(None), LEAST_FOR_A_TASTE - 1, seed=1))
