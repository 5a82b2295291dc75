"""Faults from slight to plain are still marked as they were."""

import pytest

from tests.regression.kept import kept, nearly
from tests.regression.write_grades import CASES, NAME, grades


@pytest.mark.parametrize("case", CASES)
def test_regression_of_grades(case):
    assert grades(case) == nearly(kept(NAME)[case])


def test_every_case_is_kept():
    assert set(kept(NAME)) == set(CASES)


def test_every_case_has_a_measure_between_good_and_bad():
    assert all(kept(NAME).values())
