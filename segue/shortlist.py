"""Which recipes are rendered in full: the best of each family, by a quick listen to all that suit.

The quick listen is the whole way, planned, rendered and scored like any other, but at a low rate.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.audio.adapters import resampled
from segue.plan import Given, proposals, suitability

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Role, SongEdge
    from segue.plan import Recipe

N_PROPOSALS: Final = 3
LEAST_SUITABILITY: Final = 0.4
"""Recipes that suit a pair less are not tried. Chosen on the demo songs."""
QUICK_RATE_HZ: Final = 16_000
"""Rate of the quick listen: a third of the cost of the full one. On 11 recipes each of two demo
pairs the two orders agree with a rank correlation of 0.83 and 0.98."""


def shortlist(
    shelf: tuple[Recipe, ...],
    facts: tuple[EdgeFacts, EdgeFacts],
    mark: Callable[[Recipe, SongEdge, SongEdge], float],
    songs: tuple[SongEdge, SongEdge],
    *,
    talk_s: float | None = None,
    tell: Callable[[str], None],
) -> tuple[Recipe, ...]:
    """The recipes to render in full, one of each family, best first.

    Parameters
    ----------
    shelf : tuple of Recipe
    facts : tuple of EdgeFacts
        End of the old song, start of the new one.
    mark : callable
        Overall score of a recipe on two songs.
    songs : tuple of SongEdge
        The two edges, at the full rate.
    talk_s : float or None
        What the singer wants for talking: what is made for it comes first.
    tell : callable
        Told when the trying begins.

    Returns
    -------
    tuple of Recipe
        At most `N_PROPOSALS`. Where too few families suit the pair, the most suitable of the
        others follow.
    """
    given = Given(talk_s=talk_s, outgoing_roles=_roles(songs[0]), incoming_roles=_roles(songs[1]))
    fits = {recipe.name: suitability(recipe, *facts, given) for recipe in shelf}
    ranked = sorted(shelf, key=lambda recipe: -fits[recipe.name])
    suited = [recipe for recipe in ranked if fits[recipe.name] >= LEAST_SUITABILITY]
    if len(suited) > N_PROPOSALS:
        tell(f"trying {len(suited)} recipes")
        outgoing, incoming = (_thinned(song) for song in songs)
        marks = {recipe.name: mark(recipe, outgoing, incoming) for recipe in suited}
        suited.sort(key=lambda recipe: (recipe.suits.talk != "yes", -marks[recipe.name]))
    best: dict[str, Recipe] = {}
    others = proposals(shelf, *facts, n_proposals=len(shelf), given=given)
    for recipe in (*suited, *others):
        best.setdefault(recipe.family, recipe)
    return tuple(best.values())[:N_PROPOSALS]


def _roles(song: SongEdge) -> frozenset[Role]:
    return frozenset(stem.role for stem in song.stems if song.has_stems)


def _thinned(song: SongEdge) -> SongEdge:
    """The song at a low rate."""
    stems = tuple(replace(s, clip=resampled(s.clip, QUICK_RATE_HZ)) for s in song.stems)
    return replace(song, stems=stems)
