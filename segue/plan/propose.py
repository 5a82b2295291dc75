"""Which recipes to try for a pair of songs.

Suitability is a quick judgement on the facts, before anything is rendered: how
far the pair lies outside what a recipe says it suits. The final order of the
candidates comes from the score of what was rendered.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from segue.music.tonal_space import key_distance
from segue.plan.edges import song_end, song_start
from segue.plan.grid import CLEAR_PULSE_CONFIDENCE
from segue.plan.timeline import entry_bpm, exit_bpm

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.music.key import Key
    from segue.plan.recipe import Recipe

_KEY_SLACK: Final = 0.35
"""Key distance outside a recipe's range at which it suits no more than half. Chosen by ear."""
_TEMPO_SLACK: Final = 0.12
"""The same for the logarithm of the tempo ratio. Chosen by ear."""
_WRONG_KIND: Final = 0.5
"""Factor for an ending or opening that a recipe is not made for. Chosen by ear."""
_NO_PULSE: Final = 0.1
"""Factor for a recipe that needs beats where none are clear. Chosen by ear."""


def suitability(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    """How well a recipe suits a pair, 0..1, by their facts alone.

    Parameters
    ----------
    recipe : Recipe
    outgoing, incoming : EdgeFacts

    Returns
    -------
    float
        1 where all is at home. The most likely key counts, and the runners-up
        by their weight, so that a recipe that survives a wrong key is preferred.
    """
    suits = recipe.suits
    fit = _expected_key_fit(recipe, outgoing, incoming)
    fit *= _within(tempo_change(outgoing, incoming), suits.tempo_change, _TEMPO_SLACK, log=True)
    if suits.endings and outgoing.ending and outgoing.ending.kind not in suits.endings:
        fit *= _WRONG_KIND
    if suits.openings and incoming.opening and incoming.opening.kind not in suits.openings:
        fit *= _WRONG_KIND
    for side, facts in (("outgoing", outgoing), ("incoming", incoming)):
        if side in suits.needs_pulse and facts.pulse.confidence < CLEAR_PULSE_CONFIDENCE:
            fit *= _NO_PULSE
    return fit


def tempo_change(outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    """Ratio of the faster tempo to the slower, half-time and double-time counted as one."""
    change = abs(math.log2(exit_bpm(song_end(outgoing)) / entry_bpm(song_start(incoming))))
    return float(2.0 ** abs(change - round(change)))


def proposals(
    recipes: tuple[Recipe, ...], outgoing: EdgeFacts, incoming: EdgeFacts, *, n_proposals: int = 3
) -> tuple[Recipe, ...]:
    """The most suitable recipes, each of a different family, best first.

    Parameters
    ----------
    recipes : tuple of Recipe
        The shelf. Ties keep its order.
    outgoing, incoming : EdgeFacts
    n_proposals : int
        How many to choose; fewer come back where there are fewer families.

    Returns
    -------
    tuple of Recipe
    """
    ranked = sorted(recipes, key=lambda recipe: -suitability(recipe, outgoing, incoming))
    chosen: dict[str, Recipe] = {}
    for recipe in ranked:
        chosen.setdefault(recipe.family, recipe)
    return tuple(chosen.values())[:n_proposals]


def _expected_key_fit(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    total, weight = 0.0, 0.0
    for old, p in _likely_keys(outgoing):
        for new, q in _likely_keys(incoming):
            distance = key_distance(old, new)
            total += p * q * _within(distance, recipe.suits.key_distance, _KEY_SLACK)
            weight += p * q
    return total / weight


def _likely_keys(facts: EdgeFacts) -> list[tuple[Key, float]]:
    first = (facts.key.key, max(facts.key.confidence, 0.05))
    return [first, *((k.key, k.weight) for k in facts.key.runners_up[:2])]


def _within(
    value: float, allowed: tuple[float, float], slack: float, *, log: bool = False
) -> float:
    """1 inside the range, falling as a Gaussian outside; one half at `slack` beyond."""
    low, high = allowed
    if log:
        value, low, high = math.log(value), math.log(low), math.log(high)
    beyond = max(low - value, value - high, 0.0)
    return float(0.5 ** ((beyond / slack) ** 2))
