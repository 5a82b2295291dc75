import numpy as np
import pytest

from segue.music import profiles
from segue.music.profiles import (
    KRUMHANSL_KESSLER,
    SHAATH,
    ProfileSet,
    profile_correlations,
    profile_matrix,
)

SETS = [
    pytest.param(KRUMHANSL_KESSLER, id="Krumhansl and Kessler"),
    pytest.param(SHAATH, id="Sha'ath"),
]


@pytest.mark.parametrize(
    ("key", "correlation"),
    [
        # Krumhansl and Kessler 1982, table of inter-key correlations (from memory).
        pytest.param(7, 0.591, id="C and G major"),
        pytest.param(5, 0.591, id="C and F major"),
        pytest.param(12 + 9, 0.651, id="C major and A minor"),
        pytest.param(12, 0.511, id="C major and C minor"),
        pytest.param(12 + 4, 0.536, id="C major and E minor"),
    ],
)
def test_krumhansl_kessler_keys_correlate_as_published(key, correlation):
    c_major = profile_matrix(KRUMHANSL_KESSLER)[0]
    found = profile_correlations(c_major, KRUMHANSL_KESSLER)[key]
    assert found == pytest.approx(correlation, abs=0.002)  # the ratings are rounded


def test_krumhansl_kessler_has_the_printed_supertonic():
    # One public table misprints the major flat second as 2.33; 2.23 in the paper.
    assert KRUMHANSL_KESSLER.major[1] == 2.23


@pytest.mark.parametrize("published", SETS)
def test_the_tonic_triad_leads_and_the_scale_goes_before_what_is_foreign(published):
    # Krumhansl 1990, ch. 2: tonic triad, then the rest of the scale, then the other notes.
    major, minor = np.argsort(published.major)[::-1], np.argsort(published.minor)[::-1]
    assert set(major[:3]) == {0, 4, 7}
    assert set(minor[:3]) == {0, 3, 7}
    assert set(major[:7]) == {0, 2, 4, 5, 7, 9, 11}
    assert {0, 2, 3, 5, 7, 8} <= set(minor[:7])


def test_a_profile_is_of_one_size_from_note_to_note():
    # Ratings from 1 to 7 (Krumhansl and Kessler 1982); Sha'ath's start from the same.
    for published in (KRUMHANSL_KESSLER, SHAATH):
        for profile in (published.major, published.minor):
            assert all(1.0 <= weight <= 7.0 for weight in profile)


@pytest.mark.parametrize("published", SETS)
def test_a_profile_finds_its_own_key(published):
    for key, row in enumerate(profile_matrix(published)):
        assert int(np.argmax(profile_correlations(row, published))) == key


def test_a_flat_chroma_speaks_for_no_key():
    assert not profile_correlations(np.ones(12), KRUMHANSL_KESSLER).any()


def test_a_profile_of_eleven_weights_is_refused():
    with pytest.raises(ValueError, match="12 weights"):
        ProfileSet(major=KRUMHANSL_KESSLER.major[:11], minor=KRUMHANSL_KESSLER.minor)


def test_every_published_set_is_tested():
    known = {name for name, value in vars(profiles).items() if isinstance(value, ProfileSet)}
    assert len(known) == len(SETS)
