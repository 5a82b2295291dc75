"""Lengths of talk as people type them."""

import pytest

from segue.cli.options import seconds_of
from segue.errors import OptionError


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("25", 25),
        ("25s", 25),
        ("25 s", 25),
        ("1m10s", 70),
        ("2m", 120),
        ("0.5", 0.5),
        ("1M 5S", 65),
        ("1:05", 65),
    ],
)
def test_talk_is_read_as_people_write_it(text, seconds):
    assert seconds_of("--talk", text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "25x", "-5", "h", "s", "nan"])
def test_what_is_no_length_of_time_is_told(text):
    with pytest.raises(OptionError, match=r"--talk .* is not a length of time: write 25s or 1m10s"):
        seconds_of("--talk", text)


@pytest.mark.parametrize("text", ["0", "11m", "601s", "1h"])
def test_talk_that_nobody_wants_is_told(text):
    with pytest.raises(OptionError, match="outside 1 s to 10 minutes"):
        seconds_of("--talk", text)
