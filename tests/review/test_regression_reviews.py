"""A rehearsal is still reviewed as it was: every bar, the singer, faults, and the sentences."""

import pytest

from tests.regression.kept import kept, nearly
from tests.regression.write_reviews import CASES, NAME, reviewed, runs_in


@pytest.fixture(scope="module", name="runs")
def _runs(tmp_path_factory):
    return runs_in(tmp_path_factory.mktemp("rehearsed"))


@pytest.mark.parametrize("case", CASES)
def test_regression_of_reviews(case, runs, tmp_path):
    assert reviewed(case, runs, tmp_path) == nearly(kept(NAME)[case])


def test_every_take_is_kept():
    assert set(kept(NAME)) == set(CASES)
