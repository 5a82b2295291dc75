"""Regression: the plan of every built-in recipe on fixed pairs is the one we had.

`tests/plan/write_golden.py` makes the files.
"""

import pytest

from segue.recipes import load_recipes, shelf_folder
from tests.plan.write_golden import FOLDER, golden_text, path_of

SHELF = load_recipes(shelf_folder())


@pytest.mark.parametrize("recipe", [pytest.param(r, id=r.name) for r in SHELF])
def test_plan_is_as_it_was(recipe):
    assert golden_text(recipe) == path_of(recipe).read_text(encoding="utf-8")


def test_every_golden_file_has_its_recipe():
    assert {path.name for path in FOLDER.iterdir()} == {path_of(r).name for r in SHELF}
