"""Recipes: a TOML file in, a `Recipe` out, with every fault of the file named; and the shelf.

What a recipe may say is in `recipe` and `recipe_layer`, what its values may be in `rules`;
`recipe_file` reads one, `shelf` all that are on it.
"""

from segue.recipes.recipe import Recipe
from segue.recipes.recipe_file import load_recipe
from segue.recipes.shelf import Shelf, all_recipes, load_recipes, shelf_folder

__all__ = ["Recipe", "Shelf", "all_recipes", "load_recipe", "load_recipes", "shelf_folder"]
