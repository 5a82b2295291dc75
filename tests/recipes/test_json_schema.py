"""The published schema and reference say what the reader of recipes does."""

import re
import tomllib
from dataclasses import fields
from pathlib import Path

import jsonschema
import pytest

from segue.recipes.json_schema import field_descriptions, recipe_schema
from segue.recipes.lint import recipe_warnings
from segue.recipes.recipe_file import parse_recipe, shelf_folder
from tests.recipes.recipe_reference import REFERENCE, SCHEMA, TABLES, reference_text, schema_text

BROKEN = Path(__file__).parent / "broken_recipes"
# What a schema cannot say: the order of places and numbers, and that nan is no number.
BEYOND_A_SCHEMA = {
    "breakpoints-out-of-order",
    "ends-before-it-starts",
    "lengths-out-of-order",
    "not-a-number",
    "pair-upside-down",
    "two-breakpoints-at-one-place",
}
NO_TOML = {"bracket-left-open", "key-given-twice", "string-left-open"}


@pytest.fixture(scope="module", name="validator")
def _validator():
    jsonschema.Draft202012Validator.check_schema(recipe_schema())
    return jsonschema.Draft202012Validator(recipe_schema())


def test_the_published_schema_is_current():
    assert SCHEMA.read_text(encoding="utf-8") == schema_text()


@pytest.mark.parametrize("path", sorted(shelf_folder().glob("*.toml")), ids=lambda path: path.stem)
def test_the_schema_accepts_the_shelf(path, validator):
    validator.validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", sorted(BROKEN.glob("*.toml")), ids=lambda path: path.stem)
def test_the_schema_refuses_broken_recipes_as_far_as_a_schema_can(path, validator):
    text = path.read_text(encoding="utf-8")
    if path.stem in NO_TOML:
        with pytest.raises(tomllib.TOMLDecodeError):
            tomllib.loads(text)
    else:
        assert validator.is_valid(tomllib.loads(text)) == (path.stem in BEYOND_A_SCHEMA)


def test_every_field_is_described():
    for cls in TABLES.values():
        described = field_descriptions(cls)
        assert set(described) >= {field.name for field in fields(cls)}
        assert all(described[field.name] for field in fields(cls))


def test_the_reference_is_current():
    text = REFERENCE.read_text(encoding="utf-8")
    assert reference_text(text) == text
    for cls in TABLES.values():
        for field in fields(cls):
            assert f"| `{field.name}` |" in text


def test_the_example_of_the_reference_is_a_sound_recipe(validator):
    text = REFERENCE.read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", text, re.S)
    validator.validate(tomllib.loads(example))
    assert recipe_warnings(parse_recipe(example, REFERENCE)) == ()
