"""Which recipes to try for a pair of songs.

Suitability is a quick judgement on the facts, before anything is rendered: how
far the pair lies outside what a recipe says it suits. The final order of the
candidates comes from the score of what was rendered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal, get_args

from segue.analysis.facts import PULSE_CONFIDENCE, EdgeFacts, EndingKind, OpeningKind
from segue.music.chord import shared_chords
from segue.music.interval import reads_as
from segue.music.tonal_space import key_distance
from segue.plan.grid import SAME_BEAT
from segue.plan.places_asked import PlacesAsked, end_as_asked, start_as_asked
from segue.plan.song_levels import are_without_drums, starts_softly
from segue.plan.tempo_spans import TempoTooFarError, entry_bpm, exit_bpm
from segue.plan.timeline import Timeline, timeline
from segue.plan.words import TUNING_WARNING_CENTS

if TYPE_CHECKING:
    from segue.audio.clip import Role
    from segue.music.key import Key
    from segue.recipes.recipe import Recipe, Suits

_KEY_SLACK: Final = 0.35
"""Key distance outside a recipe's range at which it suits no more than half. Set by judgement."""
_TEMPO_SLACK: Final = 0.12
"""The same for the logarithm of the tempo ratio. Set by judgement."""
_WRONG_KIND: Final = 0.5
"""Factor for an ending or opening that a recipe is not made for. Set by judgement."""
_NO_PULSE: Final = 0.1
"""Factor for a recipe that needs beats where none are clear. Set by judgement."""
_NO_STEM: Final = 0.1
"""Factor for a recipe that needs a stem which is not given. Set by judgement."""
_NO_PIVOT: Final = 0.1
"""Factor for a vamp on shared chords where the keys share none. Set by judgement."""
_OTHER_METRE: Final = 0.1
"""Factor for two songs at once whose bars are of different length. Set by judgement."""
_MISTUNED: Final = 0.3
"""Factor for two songs at once that are out of tune with each other. Set by judgement."""
_SAME_TEMPO_RATIO: Final = 1.005
"""Closer tempos are one: nobody hears a third of the best noticeable difference of 1.5 %
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""
_NO_ROOM: Final = 0.1
"""Factor for playing on what is over, as of an edge of few bars. Set by judgement."""
_NO_CHANGE: Final = 0.1
"""Factor for changing the tempo where there is nothing to change. Set by judgement."""
_OTHER_LENGTH: Final = 0.5
"""Factor for a recipe that cannot be as long as the musician wants. Set by judgement."""
_WRONG_WAY: Final = 0.5
"""Factor for lifting a room that is about to calm down, and the reverse. Set by judgement."""
_NO_WAY: Final = 0.9
"""Factor for lifting or calming a room that is about to stay as it is. Set by judgement."""
_NO_LIFT: Final = 0.5
"""Factor more for a build into a song that is far softer: it promises what does not come..."""
_FAR_SOFTER_LU: Final = 6.0  # ...from here on. Set by judgement, both.
N_ENDINGS: Final = len(get_args(EndingKind))
N_OPENINGS: Final = len(get_args(OpeningKind))
_LIVELIER_RATIO: Final = 1.05  # a tempo from which a song is livelier: 5 % more; by judgement
_LOUDER_LU: Final = 2.0
"""Changes of tempo and of level from which a song counts as livelier. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What there is to make a segue from, besides the facts.

    Parameters
    ----------
    talk_s : float or None
        What the singer wants for talking; None for no talk.
    outgoing_roles, incoming_roles : frozenset of Role
        Of the stems; empty where only a mix is given.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the segue is for; a lift or a calm goes over where the songs themselves are going.
    asked : PlacesAsked
        Where the musician wants to leave and to enter, and the bars between.
    wants_a_beat : bool
        The beat of one song is enough: what beats by that song's own is as good as where both
        have one, however the other starts or ends.
    """

    talk_s: float | None = None
    outgoing_roles: frozenset[Role] = frozenset()
    incoming_roles: frozenset[Role] = frozenset()
    purpose: Literal["talk", "lift", "calm", "dance"] | None = None
    asked: PlacesAsked = field(default_factory=PlacesAsked)
    wants_a_beat: bool = False


def suitability(
    recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts, given: Given | None = None
) -> float:
    """How well a recipe suits a pair, 0..1, by their facts alone.

    Parameters
    ----------
    given : Given, optional
        Talk and stems; by default neither.

    Returns
    -------
    float
        1 where all is at home, 0 where it cannot be used: there is talk and it
        leaves no room for it, it is made for talk and there is none, or the
        tempos are too far apart for it. The most likely key counts, and the
        runners-up by their weight, so that a recipe that survives a wrong key
        is preferred.
    """
    given = given or Given()
    time = _timeline(recipe, outgoing, incoming, given)
    if time is None:
        return 0.0
    suits = recipe.suits
    apart_cents = outgoing.tuning_cents - incoming.tuning_cents
    fit = _expected_key_fit(recipe, outgoing, incoming)
    change = tempo_change(outgoing, incoming, given.asked)
    fit *= _within(change, suits.tempo_change, _TEMPO_SLACK, log=True)
    if not _has_room(recipe, time):
        fit *= _NO_ROOM
    if given.asked.n_bars not in (None, time.n_interlude_bars):
        fit *= _OTHER_LENGTH
    if _misses_pivot(recipe, outgoing, incoming):
        fit *= _NO_PIVOT
    if change < _SAME_TEMPO_RATIO < suits.tempo_change[0]:
        fit *= _NO_CHANGE
    fit *= _kind_fit(recipe, outgoing, incoming, given) * _stems_fit(recipe, given)
    wished: dict[str | None, Literal["up", "down"]] = {"lift": "up", "calm": "down"}
    wish = wished.get(given.purpose)
    fit *= _energy_fit(suits, wish or energy(outgoing, incoming))
    fit *= 1.0 if wish else _lift_fit(suits, outgoing, incoming)
    fit *= _drums_fit(recipe, outgoing, incoming)
    if recipe.length.overlap_bars and outgoing.pulse.metre != incoming.pulse.metre:
        fit *= _OTHER_METRE
    if recipe.length.overlap_bars and abs(apart_cents) > TUNING_WARNING_CENTS:
        fit *= _MISTUNED
    return fit


def energy(outgoing: EdgeFacts, incoming: EdgeFacts) -> Literal["up", "down", "level"]:
    """Where the evening is going: by tempo, level and the step from key to key, each one vote.

    It goes down where the new song starts softly, whatever comes later.
    """
    if starts_softly(outgoing, incoming):
        return "down"
    tempo = incoming.pulse.tempo_bpm / outgoing.pulse.tempo_bpm
    louder_lu = incoming.level.loudness_lufs - outgoing.level.loudness_lufs
    key = {"lift": 1, "drop": -1, "neither": 0}[reads_as(outgoing.key.key, incoming.key.key)]
    votes = key + (tempo >= _LIVELIER_RATIO) - (tempo <= 1 / _LIVELIER_RATIO)
    votes += (louder_lu >= _LOUDER_LU) - (louder_lu <= -_LOUDER_LU)
    if votes == 0:
        return "level"
    return "up" if votes > 0 else "down"


def tempo_change(
    outgoing: EdgeFacts, incoming: EdgeFacts, asked: PlacesAsked | None = None
) -> float:
    """Ratio of the faster tempo to the slower, half-time and double-time counted as one."""
    asked = asked or PlacesAsked()
    old, new = end_as_asked(outgoing, asked), start_as_asked(incoming, asked)
    change = abs(math.log2(exit_bpm(old) / entry_bpm(new)))
    return float(2.0 ** abs(change - round(change)))


def proposals(
    recipes: tuple[Recipe, ...],
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    *,
    n_proposals: int = 3,
    given: Given | None = None,
) -> tuple[Recipe, ...]:
    """The most suitable recipes, each of a different family, best first.

    Parameters
    ----------
    n_proposals : int
        How many to choose; fewer come back where there are fewer families.
    given : Given, optional
        Talk and stems; by default neither.

    Returns
    -------
    tuple of Recipe
        With talk, recipes made for it come first. Among equally suitable ones
        those that suit fewer pairs come first, then the order of the shelf.
    """
    fits = [(suitability(recipe, outgoing, incoming, given), recipe) for recipe in recipes]
    usable = [(fit, recipe) for fit, recipe in fits if fit > 0.0]
    ranked = sorted(usable, key=lambda x: (x[1].suits.talk != "yes", -x[0], breadth(x[1].suits)))
    chosen: dict[str, Recipe] = {}
    for _, recipe in ranked:
        chosen.setdefault(recipe.family, recipe)
    return tuple(chosen.values())[:n_proposals]


def breadth(suits: Suits) -> float:
    """Share of all pairs that a recipe says it suits, roughly: 1 for any."""
    keys = suits.key_distance[1] - suits.key_distance[0]
    tempos = math.log2(min(suits.tempo_change[1], 2.0) / suits.tempo_change[0])
    endings = (len(suits.endings) or N_ENDINGS) / N_ENDINGS
    openings = (len(suits.openings) or N_OPENINGS) / N_OPENINGS
    return keys * tempos * endings * openings * (1.0 if suits.energy == "either" else 0.5)


def _timeline(
    recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts, given: Given
) -> Timeline | None:
    """Where it would lie in time; None where it cannot be used."""
    if recipe.suits.talk == ("no" if given.talk_s is not None else "yes"):
        return None
    try:
        return timeline(
            end_as_asked(outgoing, given.asked),
            start_as_asked(incoming, given.asked),
            recipe,
            talk_s=given.talk_s,
            asked_bars=given.asked.n_bars,
        )
    except TempoTooFarError:
        return None


def _has_room(recipe: Recipe, time: Timeline) -> bool:
    """Whether the old song lasts as long as a recipe lets it play on."""
    length = recipe.length
    last_beat = time.exit_beat
    if length.overlap_bars:
        last_beat = time.entry_beat + length.overlap_bars * time.incoming.grid.metre
    elif length.carry_bars:
        bars = time.n_interlude_bars if length.carry_bars < 0 else length.carry_bars
        last_beat = min(time.exit_beat + bars * time.metre, time.entry_beat)
    return time.outgoing_index_at(last_beat) <= time.outgoing.done_index + SAME_BEAT


def _misses_pivot(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts) -> bool:
    """Whether it rests on chords of both keys, and they have none in common."""
    needs_pivot = any(layer.harmony == "pivot vamp" for layer in recipe.layers)
    return needs_pivot and not shared_chords(outgoing.key.key, incoming.key.key)


def _kind_fit(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts, given: Given) -> float:
    fit, suits = 1.0, recipe.suits
    if given.wants_a_beat and not _without_their_beat(recipe, outgoing, incoming):
        return fit
    if suits.endings and outgoing.ending and outgoing.ending.kind not in suits.endings:
        fit *= _WRONG_KIND
    if suits.openings and incoming.opening and incoming.opening.kind not in suits.openings:
        fit *= _WRONG_KIND
    for side, facts in (("outgoing", outgoing), ("incoming", incoming)):
        if side in suits.needs_pulse and facts.pulse.confidence < PULSE_CONFIDENCE:
            fit *= _NO_PULSE
    return fit


def _without_their_beat(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts) -> bool:
    """Whether a recipe takes drums or bars that go round from a song without drums or a pulse.

    What is cut out of notes is no beat of their song.
    """
    return _drums_fit(recipe, outgoing, incoming) < 1.0 or any(
        facts.pulse.confidence < PULSE_CONFIDENCE
        for layer in recipe.layers
        for side, facts in (("outgoing", outgoing), ("incoming", incoming))
        if (layer.source == "drum bridge" and layer.of == side)
        or (layer.source == side and (layer.loop_bars or layer.part == "percussive"))
    )


def _stems_fit(recipe: Recipe, given: Given) -> float:
    suits = recipe.suits
    missing = set(suits.outgoing_stems) - given.outgoing_roles
    if given.outgoing_roles and "drums" not in given.outgoing_roles and _rests_on_drums(recipe):
        missing.add("drums")
    missing |= set(suits.incoming_stems) - given.incoming_roles
    return _NO_STEM if missing else 1.0


def _drums_fit(recipe: Recipe, outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    """Less where drums are asked of a song that was heard to have none near the join."""
    fit = 1.0
    for facts, side in ((outgoing, "outgoing"), (incoming, "incoming")):
        asked = any(
            (layer.source == side and layer.part == "percussive")
            or (layer.source == "drum bridge" and layer.of == side)
            for layer in recipe.layers
        )
        near = facts.bars[-_BARS_NEAR:] if side == "outgoing" else facts.bars[:_BARS_NEAR]
        if asked and are_without_drums(near):
            fit *= _NO_DRUMS
    return fit


_BARS_NEAR: Final = 8  # of a song beside the join that are asked for drums
_NO_DRUMS: Final = 0.3
"""Factor for drums of a song that has none. Set by judgement."""


def _rests_on_drums(recipe: Recipe) -> bool:
    """Whether nothing but the old song's drums leads to the entry."""
    if any(layer.source == "drum bridge" and layer.of == "outgoing" for layer in recipe.layers):
        return True
    carried = [
        layer.roles
        for layer in recipe.layers
        if layer.source == "outgoing" and layer.only == "stems" and layer.end.anchor == "entry"
    ]
    return bool(carried) and all(roles == ("drums",) for roles in carried)


def _energy_fit(suits: Suits, going: Literal["up", "down", "level"]) -> float:
    if suits.energy in ("either", going):
        return 1.0
    return _NO_WAY if going == "level" else _WRONG_WAY


def _lift_fit(suits: Suits, outgoing: EdgeFacts, incoming: EdgeFacts) -> float:
    """Less for what climbs into a song that is far softer."""
    softer_lu = outgoing.level.loudness_lufs - incoming.level.loudness_lufs
    return _NO_LIFT if suits.energy == "up" and softer_lu >= _FAR_SOFTER_LU else 1.0


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
