"""An invented evening is still drawn, counted and written down as it was."""

import pytest

from tests.regression.kept import kept
from tests.regression.write_sheets import NAME, SHEETS, evening, evenings


@pytest.mark.parametrize("case", ["plain", "a stop", "a changing tempo"])
def test_regression_of_evenings(case):
    assert evening(case) == kept(NAME)[case]


def test_every_case_is_kept():
    assert set(kept(NAME)) == {*SHEETS, *evenings()}
