"""Several reviews of one join make a line."""

from dataclasses import replace

import pytest
from typer.testing import CliRunner

from segue.cli.app import app
from segue.review import compared, review_text
from segue.review.review_files import reviews_beside
from segue.review.trend import TrendLine, trend_of
from tests.review.conftest import Played, band, taped


def _line(*values, same=3.0):
    return TrendLine(name="bars off the grid", unit="ms", values=values, same=same)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        pytest.param((24.0, 18.0, 12.0, 9.0), "better", id="better"),
        pytest.param((9.0, 14.0, 22.0), "worse", id="worse"),
        pytest.param((9.0, 11.0, 8.0, 10.0), "same", id="same"),
        pytest.param((24.0, 18.0, 60.0, 12.0, 9.0, 6.0), "better", id="one bad evening"),
        pytest.param((-40.0, None, 8.0), "better", id="early, not told, nearly on time"),
        pytest.param((None, 8.0), "same", id="one number is no line"),
    ],
)
def test_a_line_says_whether_it_gets_better(values, verdict):
    assert _line(*values).verdict == verdict


def test_a_steady_line_changes_by_what_lies_between_its_ends():
    assert _line(30.0, 25.0, 20.0, 15.0).change == pytest.approx(-15.0)


def test_a_line_in_words_has_its_latest_numbers():
    assert _line(*range(12, 0, -1)).words == (
        "bars off the grid: …, 8, 7, 6, 5, 4, 3, 2, 1 ms, better"
    )
    assert _line(9.0, None, -8.2, -0.2).words == "bars off the grid: 9, ?, -8, 0 ms, better"


def test_reviews_of_this_join_count_in_the_order_of_their_days(rehearsal):
    others = (
        replace(rehearsal, take="take 10.wav", recorded_on="2026-03-02"),
        replace(rehearsal, take="take 9.wav", recorded_on="2026-03-02"),
        replace(rehearsal, take="far.wav", from_title="Another Song"),
        rehearsal,
    )
    told = trend_of(others, replace(rehearsal, recorded_on="2026-03-09"))
    assert [r.take for r in told.reviews] == ["take 9.wav", "take 10.wav", rehearsal.take]
    assert told.words == "3 takes from 2026-03-02 to 2026-03-09: about the same"


def test_a_first_review_has_no_line(rehearsal):
    assert trend_of((), rehearsal) is None
    assert trend_of((rehearsal,), rehearsal) is None
    before = replace(rehearsal, take="before.wav")
    assert len(trend_of((before,), rehearsal).reviews) == 2


def test_fewer_things_and_tighter_bars_are_better(rehearsal, jumped):
    before = replace(rehearsal, take="old.wav", recorded_on="2026-03-01", tries=(jumped,), best=1)
    told = trend_of((before,), replace(rehearsal, recorded_on="2026-03-09"))
    assert told.verdict == "better"
    assert told.lines[0].values == (len(jumped.findings), 0)


def test_what_lies_beside_a_review_is_read_and_what_is_none_is_left_out(rehearsal, tmp_path):
    (tmp_path / "a review.json").write_text(review_text(rehearsal), encoding="utf-8")
    (tmp_path / "b review.json").write_text("{}", encoding="utf-8")
    (tmp_path / "c review.json").write_text(review_text(rehearsal), encoding="utf-8")
    assert reviews_beside(tmp_path / "c review.json") == (rehearsal,)


def test_the_terminal_tells_the_line(rehearsal, jumped, run, plan, tmp_path):
    earlier = replace(rehearsal, take="a.wav", recorded_on="2026-03-01", tries=(jumped,), best=1)
    (tmp_path / "a review.json").write_text(review_text(earlier), encoding="utf-8")
    taped(band(plan, Played()), tmp_path / "b.wav", offset_s=2.0)
    told = CliRunner().invoke(app, ["review", str(run), str(tmp_path / "b.wav")])
    assert told.exit_code == 0
    assert "over 2 takes from 2026-03-01 to " in told.output
    assert ": getting better" in told.output
    assert "  bars off the grid: " in told.output


def test_singers_are_compared_where_both_takes_have_one(rehearsal, jumped):
    def names(now, before):
        return {change.name for change in compared(now, before).changes}

    silent = replace(rehearsal, tries=(replace(rehearsal.best_try, singer=None),))
    assert names(rehearsal, rehearsal) - names(silent, silent) == {"singer's entry", "first note"}
    assert names(silent, rehearsal) == names(rehearsal, silent) == names(silent, silent)
    worse = replace(rehearsal, tries=(jumped,))
    told = {change.name: change.verdict for change in compared(worse, rehearsal).changes}
    assert (told["bars off the grid"], told["breaks"], told["holes"]) == ("worse", "worse", "same")
    assert compared(worse, rehearsal).verdict == "worse"
    assert compared(rehearsal, worse).verdict == "better"
