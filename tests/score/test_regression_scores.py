"""Ways across the kept excerpts are still measured and marked as they were."""

import pytest

from tests.regression.kept import kept
from tests.regression.write_scores import CASES, NAME, scores

MARK, OVERALL = 0.02, 0.01
"""Of marks from 0 to 1: a fiftieth of a measure and a hundredth of the whole, which change no
order that a listener would; set by judgement."""
VALUE_RATIO, VALUE = 0.03, 0.05
"""Of values in their own units: what another processor or version of a library may change."""


def near(wanted):
    """A kept card with its tolerances."""
    return {
        name: pytest.approx(mark, abs=OVERALL)
        if name == "overall"
        else [
            pytest.approx(mark[0], rel=VALUE_RATIO, abs=VALUE),
            pytest.approx(mark[1], abs=MARK),
        ]
        for name, mark in wanted.items()
    }


@pytest.mark.parametrize("case", CASES)
def test_regression_of_scores(case):
    assert scores(case) == near(kept(NAME)[case])


def test_every_case_is_kept():
    assert set(kept(NAME)) == set(CASES)
