"""Planning: two sets of facts and a recipe in, a `Plan` in beats out.

`proposals` picks recipes of different families that suit the pair, `plan_segue`
lays one out: where the old song is left and the new one entered, the tempo
curve between them, the chords, the layers, the click and the cue.
"""

from segue.plan.build import plan_segue
from segue.plan.plan import Plan
from segue.plan.propose import Given, proposals, suitability
from segue.plan.recipe import Recipe
from segue.plan.recipe_file import load_recipe
from segue.plan.shelf import Shelf, all_recipes, load_recipes, shelf_folder

__all__ = [
    "Given",
    "Plan",
    "Recipe",
    "Shelf",
    "all_recipes",
    "load_recipe",
    "load_recipes",
    "plan_segue",
    "proposals",
    "shelf_folder",
    "suitability",
]
