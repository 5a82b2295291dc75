import numpy as np
import pytest

from segue.music import profiles
from segue.music.profiles import (
    ALBRECHT_SHANAHAN,
    BGATE,
    KOSTKA_PAYNE,
    KRUMHANSL_KESSLER,
    ROCK_HARMONY,
    ROCK_MELODY,
    SHAATH,
    ProfileSet,
    profile_correlations,
    profile_matrix,
)

SETS = [
    pytest.param(KRUMHANSL_KESSLER, id="Krumhansl and Kessler"),
    pytest.param(KOSTKA_PAYNE, id="Kostka and Payne"),
    pytest.param(ALBRECHT_SHANAHAN, id="Albrecht and Shanahan"),
    pytest.param(BGATE, id="Faraldo"),
    pytest.param(SHAATH, id="Sha'ath"),
    pytest.param(ROCK_HARMONY, id="rock harmony"),
    pytest.param(ROCK_MELODY, id="rock melody"),
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


@pytest.mark.parametrize(
    ("published", "total"),
    [
        # Shares of a whole: each profile is printed as proportions to three decimals.
        pytest.param(ALBRECHT_SHANAHAN, 1.0, id="Albrecht and Shanahan 2013"),
        pytest.param(ROCK_HARMONY, 1.0, id="rock harmony, Temperley and de Clercq 2013"),
        pytest.param(ROCK_MELODY, 1.0, id="rock melody, Temperley and de Clercq 2013"),
    ],
)
def test_shares_add_up_to_one(published, total):
    for profile in (published.major, published.minor):
        assert sum(profile) == pytest.approx(total, abs=0.0125)  # twelve roundings of 0.0005 each


def test_krumhansl_kessler_has_the_printed_supertonic():
    # One public table misprints the major flat second as 2.33; 2.23 in the paper.
    assert KRUMHANSL_KESSLER.major[1] == 2.23


@pytest.mark.parametrize("published", SETS)
def test_tonic_triad_leads_every_profile_but_for_melody_and_dance(published):
    # The three degrees of the tonic triad rank highest in harmony (Krumhansl 1990, ch. 2).
    if published in (ROCK_MELODY, BGATE):
        assert int(np.argmax(published.major)) == 0
        return
    assert set(np.argsort(published.major)[-3:]) == {0, 4, 7}
    assert set(np.argsort(published.minor)[-3:]) == {0, 3, 7}


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
