"""A rehearsal is still reviewed as it was: every bar, the singer, faults, and the sentences."""

import pytest

from tests.regression.kept import kept, nearly
from tests.regression.write_reviews import NAME, reviewed, run_in, takes

CASES = tuple(takes())


@pytest.fixture(scope="module", name="run")
def _run(tmp_path_factory):
    return run_in(tmp_path_factory.mktemp("rehearsed") / "run")


@pytest.mark.parametrize("case", CASES)
def test_regression_of_reviews(case, run, tmp_path):
    assert reviewed(case, run, tmp_path) == nearly(kept(NAME)[case])


def test_every_take_is_kept():
    assert set(kept(NAME)) == set(CASES)
