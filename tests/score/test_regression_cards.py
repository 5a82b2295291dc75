"""Known faults are still found where they were, with the same marks and in the same words."""

import pytest

from tests.regression.kept import kept, nearly
from tests.regression.write_cards import CASES, NAME, card


@pytest.mark.parametrize("case", CASES)
def test_regression_of_cards(case):
    assert card(case) == nearly(kept(NAME)[case])


def test_every_card_is_kept():
    assert set(kept(NAME)) == set(CASES)
