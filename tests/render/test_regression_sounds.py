"""Every kind of layer still sounds as it did: its level, by bands, by sides, all along."""

import numpy as np
import pytest

from tests.regression.kept import kept
from tests.regression.write_sounds import CASES, NAME, sound

WITHIN_DB = 0.1
"""What another processor may change; a tenth of what is noticed of a level (1 dB at best,
common practice, no source)."""


@pytest.mark.parametrize("case", CASES)
def test_regression_of_sounds(case):
    heard, known = sound(case), kept(NAME)[case]
    assert set(heard) == set(known)
    for bus, rows in known.items():
        assert _apart_db(heard[bus], rows) <= WITHIN_DB, bus


def _apart_db(heard, known):
    """The largest difference of two pictures of one shape."""
    one, other = (np.array([row.split() for row in rows], dtype=float) for rows in (heard, known))
    assert one.shape == other.shape
    return np.abs(one - other).max()


def test_every_sound_is_kept():
    assert set(kept(NAME)) == set(CASES)
