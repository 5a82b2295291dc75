"""Exposure against the tables of the two published limits."""

import pytest

from segue.stage.exposure import (
    care_words,
    exposure_sentence,
    h870_hours_a_week,
    niosh_hours_a_day,
    time_words,
)

# NIOSH publication 98-126 (1998), table 1-1: level in dBA, hours and minutes.
NIOSH_TABLE = [
    (82, 16, 0),
    (85, 8, 0),
    (88, 4, 0),
    (91, 2, 0),
    (94, 1, 0),
    (97, 0, 30),
    (100, 0, 15),
]


@pytest.mark.parametrize(
    ("level", "hours", "minutes"), NIOSH_TABLE, ids=[f"{x[0]} dBA" for x in NIOSH_TABLE]
)
def test_daily_time_is_that_of_the_published_table(level, hours, minutes):
    assert niosh_hours_a_day(level) == pytest.approx(hours + minutes / 60, rel=1e-9)


def test_weekly_time_is_the_published_allowance():
    # WHO/ITU-T H.870 (2018): 80 dB(A) for 40 h a week; 3 dB more halves the time.
    assert h870_hours_a_week(80.0) == 40.0
    assert h870_hours_a_week(83.0) == 20.0


def test_words_round_down_so_that_nobody_is_told_too_long():
    assert time_words(0.999) == "59 min"
    assert time_words(2.0) == "2 h"


def test_sentence_names_both_limits():
    words = exposure_sentence(94.0)
    assert "1 h a day" in words
    assert "NIOSH" in words
    assert "H.870" in words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.9, "0 s"),
        (59.9, "59 s"),
        (60, "1 min"),
        (119.9, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
    ],
)
def test_a_time_is_never_rounded_up(seconds, words):
    """A minute more than the limit allows would be the wrong minute."""
    assert time_words(seconds / 3600) == words


@pytest.mark.parametrize(
    ("minutes", "words"), [(61, "1 h 1 min"), (23 * 60 + 59, "23 h 59 min"), (24 * 60 + 1, "24 h")]
)
def test_minutes_are_told_of_less_than_a_day(minutes, words):
    assert time_words(minutes / 60) == words


def test_a_level_that_was_measured_is_told_beside_the_care_for_ears():
    (care,) = care_words()
    assert "never exceed -12 dBFS" in care
    assert care_words(94.0) == (care, exposure_sentence(94.0))
