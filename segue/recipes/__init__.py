"""Recipes: a TOML file in, a `Recipe` out, with every fault of the file named; and the shelf.

What a recipe may say is in `recipe` and `recipe_layer`, what its values may be in `rules`;
`recipe_file` reads one, or all that are on the shelf.
"""

from segue.recipes.recipe import Recipe
from segue.recipes.recipe_file import Shelf, all_recipes, load_recipe, load_recipes, shelf_folder

__all__ = ["Recipe", "Shelf", "all_recipes", "load_recipe", "load_recipes", "shelf_folder"]
