"""Clocks jump: stage machines start in 1970, and the network puts them right in mid-work."""

import os
import time

import pytest

from segue.files.whole_file import A_DAY_S, age_s, written_at

YEAR_S = 365 * A_DAY_S


def test_the_age_of_a_file_grows_with_time_and_a_time_to_come_is_no_age():
    now_s = time.time()
    assert age_s(now_s - 100.0) < age_s(now_s - 200.0) < age_s(0.0) < age_s(now_s + YEAR_S)
    assert age_s(now_s + YEAR_S) == float("inf")
    assert age_s(now_s + 60.0) < 0.0  # two machines differ by a minute: a fresh file


@pytest.mark.parametrize(
    ("modified_s", "year"),
    [(0.0, 1970), (1e9, 2001), (4e9, 2096), (1e15, 1970), (-1e15, 1970)],
    ids=["epoch", "past", "to come", "beyond", "before"],
)
def test_every_file_was_written_in_some_year(tmp_path, monkeypatch, modified_s, year):
    path = tmp_path / "take.wav"
    path.write_bytes(b"")
    os.utime(path, (0, 0))
    status = os.stat_result((*path.stat()[:7], 0, modified_s, 0))
    monkeypatch.setattr(type(path), "stat", lambda *_, **__: status)
    assert abs(written_at(path).year - year) <= 1  # by the time zone
