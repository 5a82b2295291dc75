"""Ways across the kept excerpts are still scored as they were."""

import pytest

from tests.regression.kept import kept, near
from tests.regression.write_scores import CASES, NAME, scores

MEASURE, OVERALL = 0.02, 0.01
"""Of marks from 0 to 1: a fiftieth of a measure and a hundredth of the whole, which change no
order that a listener would; set by judgement."""


@pytest.mark.parametrize("case", CASES)
def test_regression_of_scores(case):
    wanted = kept(NAME)[case]
    tolerances = dict.fromkeys(wanted, MEASURE) | {"overall": OVERALL}
    assert scores(case) == near(wanted, tolerances)


def test_every_case_is_kept():
    assert set(kept(NAME)) == set(CASES)
