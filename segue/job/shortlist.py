"""Which recipes are rendered in full: the best of each family, by a quick listen to what suits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.plan import Given, proposals, suitability

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from segue.analysis.facts import EdgeFacts
    from segue.recipes import Recipe

N_PROPOSALS: Final = 3  # ways across that are rendered in full
LEAST_SUITABILITY: Final = 0.4
"""Recipes that suit a pair less are not tried. Chosen on the demo songs."""


def shortlist(
    shelf: tuple[Recipe, ...],
    facts: tuple[EdgeFacts, EdgeFacts],
    marks_of: Callable[[Sequence[Recipe]], Mapping[str, float]],
    given: Given,
) -> tuple[Recipe, ...]:
    """The recipes to render in full, one of each family, best first.

    Parameters
    ----------
    facts : (EdgeFacts, EdgeFacts)
        End of the old song, start of the new one.
    marks_of : callable
        Overall score of each of some recipes, by name.
    given : Given
        Wishes and stems; what is made for talking comes first where talk is wished.

    Returns
    -------
    tuple of Recipe
        At most `N_PROPOSALS`. Where too few families suit the pair, the most suitable of the
        others follow.
    """
    fits = {recipe.name: suitability(recipe, *facts, given) for recipe in shelf}
    ranked = sorted(shelf, key=lambda recipe: -fits[recipe.name])
    suited = [recipe for recipe in ranked if fits[recipe.name] >= LEAST_SUITABILITY]
    if len(suited) > N_PROPOSALS:
        marks = marks_of(suited)
        suited.sort(key=lambda recipe: (recipe.suits.talk != "yes", -marks[recipe.name]))
    best: dict[str, Recipe] = {}
    others = proposals(shelf, *facts, n_proposals=len(shelf), given=given)
    for recipe in (*suited, *others):
        best.setdefault(recipe.family, recipe)
    return tuple(best.values())[:N_PROPOSALS]
