"""The page on scoring says what the code does."""

from __future__ import annotations

from pathlib import Path

import pytest

from segue.score import PURPOSES
from segue.score.scorecard import FIXED_WORDS, TIE_SCORE
from segue.score.weights import WEIGHTS

PAGE = (Path(__file__).parents[2] / "docs" / "scoring.md").read_text(encoding="utf-8")


def rows_with(n_cells):
    cells = [[c.strip() for c in line.strip("|").split("|")] for line in PAGE.splitlines()]
    return {row[0]: row[1:] for row in cells if len(row) == n_cells and row[0] in WEIGHTS}


def test_every_weight_is_in_the_table():
    table = rows_with(2 + len(PURPOSES))
    assert list(table) == list(WEIGHTS)
    for name, row in table.items():
        assert [float(cell) for cell in row] == [WEIGHTS[name][p] for p in (None, *PURPOSES)], name


def test_every_measure_has_its_unit_formula_threshold_and_source(score_of):
    table = rows_with(7)
    assert list(table) == list(FIXED_WORDS) == list(WEIGHTS)
    assert all(cell for row in table.values() for cell in row[1:])
    for measure in score_of(outgoing_overlap_beats=24).measures:
        assert table[measure.name][0] == measure.unit, measure.name


@pytest.mark.parametrize("words", [f"less than {TIE_SCORE:g}", "12 kHz", "0.4 or more"])
def test_numbers_of_the_text_are_those_of_the_code(words):
    from segue.job.shortlist import LEAST_SUITABILITY
    from segue.job.songs_at_hand import QUICK_RATE_HZ

    assert words in PAGE.replace("\n", " ")
    assert f"{QUICK_RATE_HZ / 1000:g} kHz" in PAGE
    assert f"{LEAST_SUITABILITY:g} or more" in PAGE
