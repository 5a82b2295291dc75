"""What a sound recipe may still get wrong: things to warn of, not to refuse."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Final, Literal

from segue.recipes.position import Axis
from segue.recipes.rules import Misfit

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from segue.audio.clip import Role
    from segue.recipes.recipe import Purposely, Recipe, RecipeLayer

Given = Literal["stems", "mix"]
Part = Literal["voice", "bass"]

SILENT_DB: Final = -60.0
"""At most this is silence."""
COVERED_DB: Final = -20.0
"""A part this far down is covered by the same part of the other song. Set by judgement."""
BASS_CUT_HZ: Final = 150.0
"""A highpass from here up takes a bass line away. Set by judgement."""
VOICE_CUT_HZ: Final = 300.0
"""A lowpass down to here takes a singer's words away. Set by judgement."""
LONGEST_GAP_BARS: Final = 0.5
"""A longer silence is dead air. Set by judgement."""

_STEPS_A_BAR: Final = 8  # places of a bar at which a curve is looked at: eighths in 4/4
_NO_LOWPASS_HZ, _NO_HIGHPASS_HZ = 22_000.0, 10.0  # what stands for no filter: beyond what is heard
_GIVEN: Final[tuple[Given, ...]] = ("stems", "mix")
_ROLES: Final[dict[Part, tuple[Role, ...]]] = {"voice": ("voice", "lead"), "bass": ("bass",)}
_CLASHES: Final[tuple[tuple[Part, Purposely, str], ...]] = (
    ("voice", "two vocals", "singers"),
    ("bass", "two bass lines", "bass lines"),
)


def recipe_warnings(recipe: Recipe, *, taken: Collection[str] = ()) -> tuple[Misfit, ...]:
    """What may go wrong on stage with a recipe that is valid.

    Parameters
    ----------
    taken : collection of str
        Names of other recipes.

    Returns
    -------
    tuple of Misfit
        Each at the place in the file that is to be changed.
    """
    return (
        *_words(recipe, taken),
        *_missing_songs(recipe),
        *silences(recipe),
        *_clashes(recipe),
    )


def _words(recipe: Recipe, taken: Collection[str]) -> Iterator[Misfit]:
    if recipe.name in taken:
        sentence = f"'{recipe.name}' is on the shelf too; yours takes its place"
        yield Misfit(("name",), sentence)
    if "{" not in recipe.why:
        sentence = "says the same of every pair; name facts of the pair, such as {key_to} or {bars}"
        yield Misfit(("why",), sentence)


def _missing_songs(recipe: Recipe) -> Iterator[Misfit]:
    stems = {"outgoing": recipe.suits.outgoing_stems, "incoming": recipe.suits.incoming_stems}
    for side, song in (("outgoing", "old"), ("incoming", "new")):
        own = [layer for layer in recipe.layers if layer.source == side]
        if not own:
            yield Misfit(("layers",), f"never play the {song} song; add one with source '{side}'")
        for given in _GIVEN:
            heard = any(_applies(layer, given) for layer in own)
            if own and not heard and not (given == "mix" and stems[side]):
                sentence = f"leave out the {song} song where it is given as {_form(given)}"
                remedy = f"add a layer with only = '{given}', or say what stems the recipe needs"
                yield Misfit(("layers",), f"{sentence}; {remedy}")


def silences(recipe: Recipe) -> tuple[Misfit, ...]:
    """Where all is silent for too long, in the shortest, the usual or the longest bridge."""
    return tuple(_silences(recipe))


def _silences(recipe: Recipe) -> Iterator[Misfit]:
    lengths = sorted({recipe.length.least, recipe.length.default, recipe.length.most})
    for n_bars, given in product(lengths, _GIVEN):
        axis = Axis(n_bars=n_bars)
        layers = [layer for layer in recipe.layers if _applies(layer, given)]
        gap = _first_gap(axis, layers)
        if gap is not None and _has_songs(layers):
            where = f"after '{axis.place_of(gap)}' in {n_bars} bars"
            sentence = f"leave silence {where}, with songs given as {_form(given)}"
            yield Misfit(("layers",), f"{sentence}; let a layer last longer")
            return


def _first_gap(axis: Axis, layers: list[RecipeLayer]) -> float | None:
    """First bar at which too long a silence starts."""
    since: float | None = None
    for bar in _bars(axis):
        if any(axis.sounds(layer, bar, above_db=SILENT_DB) for layer in layers):
            since = None
            continue
        since = bar if since is None else since
        if bar - since >= LONGEST_GAP_BARS:
            return since
    return None


def _clashes(recipe: Recipe) -> Iterator[Misfit]:
    """Each pair of layers of the two songs that meet with the same part, told once."""
    axis = Axis(n_bars=recipe.length.default)
    numbered = list(enumerate(recipe.layers))
    for (_, old), (number, new) in product(numbered, numbered):
        if (old.source, new.source) != ("outgoing", "incoming"):
            continue
        for part, purpose, words in _CLASHES:
            bar = None if purpose in recipe.on_purpose else _meeting(recipe, axis, old, new, part)
            if bar is not None:
                met = f"two {words} at once from '{axis.place_of(bar)}' on, with '{old.called}'"
                remedy = f"part them, or write on_purpose = ['{purpose}']"
                yield Misfit(("layers", number), f"{met}; {remedy}")


def _meeting(
    recipe: Recipe, axis: Axis, old: RecipeLayer, new: RecipeLayer, part: Part
) -> float | None:
    """First bar at which two layers both have a part."""
    given = [g for g in _GIVEN if _may_have(old, part, g) and _may_have(new, part, g)]
    if not given:
        return None
    for bar in _bars(axis):
        if all(
            axis.sounds(layer, bar, above_db=COVERED_DB)
            and axis.plays(recipe, layer, bar)
            and not _is_cut(axis, layer, part, bar)
            for layer in (old, new)
        ):
            return bar
    return None


def _may_have(layer: RecipeLayer, part: Part, given: Given) -> bool:
    if not _applies(layer, given):
        return False
    if given == "mix":
        return layer.part != "percussive"
    return not layer.roles or not set(_ROLES[part]).isdisjoint(layer.roles)


def _is_cut(axis: Axis, layer: RecipeLayer, part: Part, bar: float) -> bool:
    """Whether a filter takes the part away at a bar."""
    if part == "bass":
        return axis.value_at(layer.highpass_hz, bar, empty=_NO_HIGHPASS_HZ) >= BASS_CUT_HZ
    return axis.value_at(layer.lowpass_hz, bar, empty=_NO_LOWPASS_HZ) <= VOICE_CUT_HZ


def _applies(layer: RecipeLayer, given: Given) -> bool:
    return layer.only in ("always", given)


def _has_songs(layers: list[RecipeLayer]) -> bool:
    """Whether both songs are there: where one is missing, that is told instead."""
    return {"outgoing", "incoming"} <= {layer.source for layer in layers}


def _bars(axis: Axis) -> list[float]:
    n_steps = round((axis.last_bar - axis.first_bar) * _STEPS_A_BAR)
    return [axis.first_bar + step / _STEPS_A_BAR for step in range(n_steps)]


def _form(given: Given) -> str:
    return "a mix" if given == "mix" else given
