"""Where recipes are found, and which of two of a name is taken."""

import pytest

from segue.errors import RecipeError
from segue.recipes.recipe_file import all_recipes, load_recipes, shelf_folder

BUILT_IN = {path.name: path.read_text(encoding="utf-8") for path in shelf_folder().glob("*.toml")}
RAMP = BUILT_IN["tempo-ramp.toml"]


@pytest.fixture(name="own")
def _own(tmp_path):
    folder = tmp_path / "recipes"
    folder.mkdir()
    return folder


def test_without_a_folder_of_ones_own_there_is_the_shelf(tmp_path):
    shelf = all_recipes(own=tmp_path / "not there")
    assert shelf.recipes == load_recipes(shelf_folder())
    assert {one.origin for one in shelf.shelved} == {"shelf"}
    assert shelf.skipped == ()


def test_an_own_recipe_comes_after_the_shelf(own):
    (own / "slow.toml").write_text(RAMP.replace('"tempo ramp"', '"slow ramp"'))
    shelf = all_recipes(own=own)
    assert len(shelf.recipes) == len(BUILT_IN) + 1
    last = shelf.shelved[-1]
    assert (last.recipe.name, last.origin, last.path) == ("slow ramp", "yours", own / "slow.toml")


def test_an_own_recipe_wins_over_one_of_the_shelf_with_its_name(own):
    (own / "mine.toml").write_text(RAMP.replace("least = 4", "least = 3"))
    shelf = all_recipes(own=own)
    (ramp,) = [one for one in shelf.shelved if one.recipe.name == "tempo ramp"]
    assert (ramp.origin, ramp.recipe.length.least) == ("yours", 3)
    assert len(shelf.recipes) == len(BUILT_IN)


def test_a_broken_own_recipe_is_skipped_and_told_with_its_line(own):
    (own / "bad.toml").write_text(RAMP.replace('move = "geometric"', 'move = "geometrical"'))
    (own / "twice.toml").write_text(RAMP)
    (own / "twice too.toml").write_text(RAMP)
    shelf = all_recipes(own=own)
    assert len(shelf.recipes) == len(BUILT_IN)
    line = RAMP.splitlines().index('move = "geometric"') + 1
    assert [s.startswith(f"{own / 'bad.toml'}:{line}: tempo, move") for s in shelf.skipped] == [
        True,
        False,
    ]
    assert "is named 'tempo ramp' as twice too.toml" in shelf.skipped[1]


def test_a_folder_that_is_named_takes_the_place_of_all_others(own, tmp_path):
    (own / "slow.toml").write_text(RAMP.replace('"tempo ramp"', '"slow ramp"'))
    shelf = all_recipes(own, own=tmp_path / "other")
    assert [one.recipe.name for one in shelf.shelved] == ["slow ramp"]


def test_a_folder_that_is_named_must_be_sound(own):
    with pytest.raises(RecipeError, match="holds no recipe"):
        all_recipes(own)
    (own / "a.toml").write_text(RAMP)
    (own / "b.toml").write_text(RAMP)
    with pytest.raises(RecipeError, match=r"b\.toml: is named 'tempo ramp' as a\.toml"):
        all_recipes(own)
    (own / "b.toml").write_text("schema_version = 1\n")
    with pytest.raises(RecipeError, match=r"b\.toml:1: name is missing"):
        all_recipes(own)


def test_of_many_faults_the_first_is_told_and_how_to_read_the_others(own):
    (own / "bad.toml").write_text(RAMP.replace("schema_version = 1", "x = 1"))
    (sentence,) = all_recipes(own=own).skipped
    bad = own / "bad.toml"
    assert sentence.startswith(f"{bad}:1: schema_version is missing")
    assert sentence.endswith(f"(and 1 more: segue recipes check '{bad}').")
