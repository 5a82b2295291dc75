"""What was heard of the kept excerpts is still heard, misheard things included."""

import pytest

from tests.regression.kept import SONGS, kept, near
from tests.regression.write_hearing import NAME, heard

TOLERANCES = {
    "key_confidence": 0.02,
    "tuning_cents": 0.5,
    "tempo_bpm": 0.02,
    "first_beat_s": 0.002,
    "last_beat_s": 0.002,
    "first_downbeat_s": 0.002,
    "pulse_confidence": 0.02,
    "downbeat_confidence": 0.02,
    "loudness_lufs": 0.05,
    "true_peak_dbtp": 0.05,
    "side_confidence": 0.02,
}
"""Far below what any use of them notices, far above what another processor or version of a
library changes; set by judgement. All else is equal."""


@pytest.mark.parametrize("name", SONGS)
def test_regression_of_hearing(name):
    assert heard(name) == near(kept(NAME)[name], TOLERANCES)


def test_every_excerpt_is_kept():
    assert set(kept(NAME)) == set(SONGS)
