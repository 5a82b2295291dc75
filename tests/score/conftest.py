"""Fixtures of the score tests."""

from __future__ import annotations

import pytest

from segue.score import score_candidate
from tests.score.synthetic import Recipe, facts_of, make_candidate


@pytest.fixture(scope="session")
def score_of():
    """Score a synthetic way across; each one once a session."""
    known = {}

    def scored(**changes):
        recipe = Recipe(**changes)
        if recipe not in known:
            known[recipe] = score_candidate(make_candidate(recipe), *facts_of(recipe))
        return known[recipe]

    return scored
