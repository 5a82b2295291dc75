"""Settings and fixtures of the whole test suite."""

import pytest
from hypothesis import settings

settings.register_profile("segue", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("segue")


@pytest.fixture(scope="session")
def shelf():
    from segue.plan import load_recipes, shelf_folder

    return {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
