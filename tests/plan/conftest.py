"""Fixtures of the planning tests."""

import pytest

from tests.plan import song_facts


@pytest.fixture
def end_facts():
    return song_facts.end_facts


@pytest.fixture
def start_facts():
    return song_facts.start_facts


@pytest.fixture(scope="session")
def shelf():
    from segue.plan import load_recipes, shelf_folder

    return {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
