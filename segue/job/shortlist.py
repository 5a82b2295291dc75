"""Which recipes are rendered in full: three that suit, sound well, and differ from each other.

What suits a pair is listened to quickly; of that the three are taken whose marks and whose
difference from each other are the highest together. Difference is told by what was heard, and by
what carries the bridge: weights and limits are set by judgement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Final, Literal

from segue.analysis.facts import EdgeFacts, have_pulses
from segue.plan import Given, proposals, suitability
from segue.score.bridge import CALM_HITS_A_S, LIFT_LU, STATIC_PULSE, BridgeSound

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from segue.recipes import Recipe
    from segue.recipes.recipe import RecipeLayer
    from segue.score.weights import Purpose

N_PROPOSALS: Final = 3  # segues that are rendered in full
LEAST_SUITABILITY: Final = 0.4
"""Recipes that suit a pair less are not tried. Chosen on the demo songs."""
MOST_TRIED: Final = 10
"""No more are listened to: a quick listen takes about a second."""

Carrier = Literal["loop", "drums", "played", "held"]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickListen:
    """What a quick listen tells of one segue.

    Parameters
    ----------
    hole_s : float
        Its longest hole that neither song makes by itself and no stop plans, as it is scored.
    n_faults : int
        Bad faults that it has: it could not be first.
    """

    overall: float
    bridge: BridgeSound
    chords: tuple[str, ...] = ()
    hole_s: float = 0.0
    n_faults: int = 0


def shortlist(
    shelf: tuple[Recipe, ...],
    facts: tuple[EdgeFacts, EdgeFacts],
    listen: Callable[[Sequence[Recipe]], Mapping[str, QuickListen]],
    given: Given,
) -> tuple[Recipe, ...]:
    """The recipes to render in full, one of each family, best first.

    Parameters
    ----------
    facts : (EdgeFacts, EdgeFacts)
        End of the old song, start of the new one.
    listen : callable
        A quick listen to each of some recipes, by name.
    given : Given
        Wishes and stems; what is made for talking comes first where talk is wished.

    Returns
    -------
    tuple of Recipe
        At most `N_PROPOSALS`. Where too few families suit the pair, the most suitable of the
        others follow.
    """
    fits = {recipe.name: suitability(recipe, *facts, given) for recipe in shelf}
    suited = [recipe for recipe in shelf if fits[recipe.name] >= LEAST_SUITABILITY]
    keen = {r.name: fits[r.name] + _UP_FIRST * _is_wished(r, given.purpose) for r in suited}
    tried = _to_try(suited, keen, wants_a_beat=_wants_a_beat(facts, given))
    if len({recipe.family for recipe in tried}) > N_PROPOSALS:
        heard = dict(listen(tried))
        if more := _for_a_beat(shelf, heard, facts, given):
            heard |= listen(more)
            tried = [*tried, *more]
        tried = _best_three(tried, fits, heard, facts, given)
    best: dict[str, Recipe] = {}
    others = proposals(shelf, *facts, n_proposals=len(shelf), given=given)
    for recipe in (*tried, *others):
        best.setdefault(recipe.family, recipe)
    return tuple(best.values())[:N_PROPOSALS]


def _for_a_beat(
    shelf: Sequence[Recipe],
    heard: Mapping[str, QuickListen],
    facts: tuple[EdgeFacts, EdgeFacts],
    given: Given,
) -> list[Recipe]:
    """What else to listen to, where a song has a beat and nothing that was heard keeps one.

    Whatever beats by the song that has one, also where it is made for other songs than the other.
    """
    least = _DANCE_PULSE if given.purpose == "dance" else _UNBROKEN
    is_kept = any(one.bridge.thinnest_pulse >= least and not one.n_faults for one in heard.values())
    if is_kept or not _wants_a_beat(facts, given):
        return []
    wider = replace(given, wants_a_beat=True)
    fits = {
        recipe.name: suitability(recipe, *facts, wider)
        for recipe in shelf
        if recipe.name not in heard and carrier_of(recipe) != "held"
    }
    others = [recipe for recipe in shelf if fits.get(recipe.name, 0.0) >= LEAST_SUITABILITY]
    return sorted(others, key=lambda recipe: -fits[recipe.name])[:_MOST_FOR_A_BEAT]


_MOST_FOR_A_BEAT: Final = 4  # of them; by judgement


def _wants_a_beat(facts: tuple[EdgeFacts, EdgeFacts], given: Given) -> bool:
    """Whether one of the three is to keep a beat: a song has one, and nobody talks or calms."""
    if given.talk_s is not None or given.purpose in ("talk", "calm"):
        return False
    return any(have_pulses(one) for one in facts)


_UP_FIRST: Final = 0.3
"""Recipes made for the wished energy are listened to before others that suit as well."""


def _is_wished(recipe: Recipe, purpose: Purpose | None) -> bool:
    return (purpose, recipe.suits.energy) in (("lift", "up"), ("calm", "down"))


def carrier_of(recipe: Recipe) -> Carrier:
    """What carries a bridge: bars of the songs, drums alone, played chords, or what is held."""
    inside = [layer for layer in recipe.layers if not _is_a_song(layer)]
    if any(layer.loop_bars and layer.part != "percussive" for layer in inside):
        return "loop"
    if recipe.length.carry_bars and any(
        layer.source == "outgoing" and layer.end.anchor == "entry" and layer.part != "percussive"
        for layer in recipe.layers
    ):
        return "loop"
    if any(layer.source == "comp" and layer.rhythm != "held" for layer in inside):
        return "played"
    if any(_is_drums(layer) for layer in recipe.layers):
        return "drums"
    return "held"


def _is_a_song(layer: RecipeLayer) -> bool:
    return layer.source in ("outgoing", "incoming") and not layer.loop_bars


def _is_drums(layer: RecipeLayer) -> bool:
    return layer.source == "drum bridge" or layer.part == "percussive"


def _to_try(
    suited: Sequence[Recipe], fits: Mapping[str, float], *, wants_a_beat: bool
) -> list[Recipe]:
    """Some of those that suit, of every carrier, the most suitable first."""
    ranked = sorted(suited, key=lambda recipe: -fits[recipe.name])
    if len(ranked) <= MOST_TRIED:
        return ranked
    kinds: dict[Carrier, list[Recipe]] = {}
    for recipe in ranked:
        kinds.setdefault(carrier_of(recipe), []).append(recipe)
    for kind, recipes in kinds.items():
        if (kind == "held") == wants_a_beat:
            kinds[kind] = recipes[: _MOST_HELD if wants_a_beat else _MOST_BEATING]
    taken: list[Recipe] = []
    while len(taken) < MOST_TRIED and any(kinds.values()):
        for recipes in kinds.values():
            if recipes and len(taken) < MOST_TRIED:
                taken.append(recipes.pop(0))
    return taken


_MOST_HELD: Final = 3  # bridges without a beat that are tried where one is wanted...
_MOST_BEATING: Final = 2  # ...and of each kind that beats, where none is; by judgement, both


def _best_three(
    tried: Sequence[Recipe],
    fits: Mapping[str, float],
    heard: Mapping[str, QuickListen],
    facts: tuple[EdgeFacts, EdgeFacts],
    given: Given,
) -> list[Recipe]:
    """The best, and two that are good and unlike it and each other; then the others."""
    marks = {
        recipe.name: _mark(recipe, fits[recipe.name], heard[recipe.name], facts, given)
        for recipe in tried
    }

    def worth(three: tuple[Recipe, ...]) -> float:
        if len({recipe.family for recipe in three}) < len(three):
            return -math.inf
        apart = min(
            difference(a, heard[a.name], b, heard[b.name]) for a, b in combinations(three, 2)
        )
        total = sum(marks[recipe.name] for recipe in three) + _APART_WEIGHT * apart
        if given.purpose == "lift" and not any(
            climbs(recipe) and lifts(heard[recipe.name].bridge) for recipe in three
        ):
            total -= _NO_LIFT_COST
        return total - _lacking([heard[recipe.name].bridge for recipe in three], facts, given)

    best = max(tried, key=lambda recipe: marks[recipe.name])
    three = max((t for t in combinations(tried, N_PROPOSALS) if best in t), key=worth)
    first = sorted(three, key=lambda r: (r.suits.talk != "yes", -marks[r.name]))
    others = [recipe for recipe in tried if recipe not in three]
    rest = sorted(others, key=lambda recipe: -marks[recipe.name])
    return [*first, *rest]


_APART_WEIGHT: Final = 1.5  # of how far three lie apart, against their marks; by judgement
_NO_LIFT_COST: Final = 1.5  # three of which none lifts, where a lift is wished; by judgement
_SCORE_RANGE: Final = 0.3
"""Scores of one pair lie about this far apart."""


def _mark(
    recipe: Recipe, fit: float, heard: QuickListen, facts: tuple[EdgeFacts, EdgeFacts], given: Given
) -> float:
    """How good one is by itself, about 0 to 1."""
    bridge = heard.bridge
    mark = 0.5 * heard.overall / _SCORE_RANGE + 0.3 * fit
    if bridge.is_static and _wants_a_beat(facts, given):
        mark -= _STATIC_COST
    if heard.hole_s > MOST_HOLE_S:
        mark -= 0.4
    mark -= _FAULT_COST * heard.n_faults
    mark -= 0.05 * min(max(bridge.dip_lu - _MOST_DIP_LU, 0.0), 6.0)
    mark -= 0.15 * min(max(bridge.pulse - _MOST_PULSE, 0.0), 2.0)
    mark -= 0.05 * min(max(abs(bridge.air_db) - _MOST_AIR_DB, 0.0), 6.0)
    if given.talk_s is not None:
        mark += 0.6 if recipe.suits.talk == "yes" else 0.0
    elif not any(have_pulses(one) for one in facts):
        mark -= 0.0 if recipe.tempo.move == "free" else 0.6
    return mark + _for_purpose(recipe, bridge, given.purpose)


_MOST_PULSE: Final = 1.6
"""A bridge with harder attacks than this, against the songs', stands out of them."""
_FAULT_COST: Final = 0.5  # of a bad fault, by judgement
_STATIC_COST: Final = 0.35
"""What sounds on without a beat is for those pairs that ask for it."""
MOST_HOLE_S: Final = 0.7
"""A longer hole costs: 0.3 s of momentary loudness, which looks over 0.4 s. Set by judgement."""
_MOST_DIP_LU, _MOST_AIR_DB = 3.0, 4.0
"""Beyond these it costs: a dip before bar one; air unlike the songs'. Set by judgement."""
_MOST_RESTLESS: Final = 4.0  # times as many onsets: beyond, one is as little calm as another
_CALM_WORTH: Final = 1.5  # more than being unlike the others; by judgement
_DANCE_PULSE: Final = 0.7  # of the songs' own: less does not dance; by judgement


def is_still(bridge: BridgeSound) -> bool:
    """Whether hardly anything beats in it, or in a quarter of it: a stop is no beat that goes on.

    A little beyond what is static: a quick listen has no cymbals, and so hears the songs beat less.
    """
    return min(bridge.pulse, bridge.thinnest_pulse) < STATIC_PULSE + 0.1


def lifts(bridge: BridgeSound) -> bool:
    """Whether a bridge lifts, by what is heard."""
    return bridge.lifts


def climbs(recipe: Recipe) -> bool:
    """Whether something in it is there to lift: drums, a riser, or a tempo that moves."""
    return recipe.tempo.move in ("linear", "geometric") or any(
        layer.source == "riser" or _is_drums(layer) for layer in recipe.layers
    )


def _for_purpose(recipe: Recipe, bridge: BridgeSound, purpose: Purpose | None) -> float:
    match purpose:
        case "lift":
            rises = min(max(bridge.rise_lu / LIFT_LU, -1.0), 1.0)
            held = carrier_of(recipe) == "held"
            climbs_too = lifts(bridge) and climbs(recipe)
            return 0.8 * lifts(bridge) + 0.2 * climbs_too + 0.3 * rises - 0.4 * held
        case "calm":
            is_calm = bridge.is_static or bridge.onsets_a_s <= CALM_HITS_A_S
            restless = min(bridge.onsets_a_s / CALM_HITS_A_S, _MOST_RESTLESS) / _MOST_RESTLESS
            return _CALM_WORTH * is_calm - restless + 0.5 * (bridge.rise_lu <= 1.0)
        case "dance":
            return 0.8 * min(bridge.thinnest_pulse / _DANCE_PULSE, 1.0)
        case "talk":
            return 0.3 * (bridge.onsets_a_s <= CALM_HITS_A_S)
        case None:
            return 0.0


def _lacking(
    bridges: Sequence[BridgeSound], facts: tuple[EdgeFacts, EdgeFacts], given: Given
) -> float:
    """What three together must not lack: a beat, where the songs have one."""
    if not _wants_a_beat(facts, given):
        return 0.0
    n_static = sum(is_still(bridge) for bridge in bridges)
    unbroken = any(bridge.thinnest_pulse >= _UNBROKEN for bridge in bridges)
    return 2.0 * max(n_static - 1, 0) + (0.0 if unbroken else 1.0)


_UNBROKEN: Final = 0.5
"""The pulse runs from the first bar to the last where no quarter has less of it."""


def difference(one: Recipe, a: QuickListen, other: Recipe, b: QuickListen) -> float:
    """How unlike two segues are, 0 to 1.

    By pulse, what carries them, loudness over their length, chords, density and length.
    """
    x, y = a.bridge, b.bridge
    loudness = math.sqrt(
        sum((p - q) ** 2 for p, q in zip(x.curve_lu, y.curve_lu, strict=True)) / len(x.curve_lu)
    )
    shared = set(a.chords) & set(b.chords)
    every = set(a.chords) | set(b.chords)
    return (
        0.30 * min(abs(x.pulse - y.pulse) / 0.5, 1.0)
        + 0.20 * (carrier_of(one) != carrier_of(other))
        + 0.15 * min(loudness / 8.0, 1.0)
        + 0.15 * (1.0 - len(shared) / len(every) if every else 0.0)
        + 0.10 * min(abs(math.log2((x.onsets_a_s + 0.25) / (y.onsets_a_s + 0.25))) / 2, 1.0)
        + 0.10 * min(abs(math.log2(max(x.length_s, 0.5) / max(y.length_s, 0.5))), 1.0)
    )
