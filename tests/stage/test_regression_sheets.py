"""Cue sheets still say what they said, and stand on paper where they stood."""

import pytest

from tests.regression.kept import kept
from tests.regression.write_sheets import NAME, SHEETS, sheet


@pytest.mark.parametrize("case", SHEETS)
def test_regression_of_sheets(case):
    assert sheet(*SHEETS[case]) == kept(NAME)[case]
