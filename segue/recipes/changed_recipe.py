"""A recipe changed by hand, one wish at a time: each function returns another recipe.

What cannot be done is told in one sentence that names the option of the command line.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, get_args

from segue.errors import OptionError, did_you_mean, shortened
from segue.recipes.lint import silences
from segue.recipes.recipe_layer import PadSound
from segue.recipes.rules import RANGES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from segue.music.chord import CadenceChoice
    from segue.recipes.recipe import Recipe, RecipeLayer

LEAST_TRIM_DB, MOST_TRIM_DB = RANGES["trim_db"].least, RANGES["trim_db"].most
PAD_SOUNDS: Final[tuple[PadSound, ...]] = get_args(PadSound)
_CHORD_SOURCES: Final = ("pad", "comp", "bass")
_LED_HARMONIES: Final = ("path", "new key", "dominant", "pivot vamp")
"""What ends on a cadence."""
_RAMPS: Final = ("linear", "geometric")
BRIDGE: Final = "bridge"
"""All that sounds between the songs together."""


def kinds_of(layer: RecipeLayer) -> tuple[str, ...]:
    """Words for what a layer is, besides its name."""
    if layer.source in ("outgoing", "incoming"):
        if not layer.loop_bars:
            return ("drums",) if _is_drums(layer) else ()
        return ("loop", "drums") if _is_drums(layer) else ("loop",)
    return {
        "comp": ("chords", "comp"),
        "drum bridge": ("drums", "drum bridge"),
        "click": (),
        "cue": (),
    }.get(layer.source, (layer.source,))


def is_the_song(layer: RecipeLayer) -> bool:
    """Whether a layer is one of the two songs itself, up to where it is left or from its entry."""
    begins = layer.source == "outgoing" and layer.start.anchor == "start"
    return begins or (layer.source == "incoming" and layer.end.anchor == "end")


def layers_called(recipe: Recipe, word: str, option: str) -> tuple[int, ...]:
    """Places of the layers that a word means: those of that name, or else of that kind.

    Raises
    ------
    OptionError
        If there are none.
    """
    wanted = " ".join(word.lower().split())
    named = [n for n, x in enumerate(recipe.layers) if x.called.lower() == wanted]
    kind = [n for n, x in enumerate(recipe.layers) if wanted in kinds_of(x)]
    found = named or kind
    if not found:
        known = list(dict.fromkeys(x.called for x in recipe.layers if _is_heard(x)))
        hint = did_you_mean(wanted, [*known, *(k for x in recipe.layers for k in kinds_of(x))])
        raise OptionError(
            f"{option} '{shortened(word)}': '{recipe.name}' has no such layer, "
            f"but {', '.join(known)}: take one of these.{hint}"
        )
    return tuple(found)


def with_trim(recipe: Recipe, word: str, by_db: float) -> Recipe:
    """Layers louder or softer by so much, and nothing else; or the whole bridge.

    Raises
    ------
    OptionError
        If there is no such layer, or it would be out of range.
    """
    if " ".join(word.lower().split()) == BRIDGE:
        return _with_bridge_level(recipe, by_db)
    places = layers_called(recipe, word, "--level")

    def trimmed(layer: RecipeLayer) -> RecipeLayer:
        trim_db = round(layer.trim_db + by_db, 6)
        if not LEAST_TRIM_DB <= trim_db <= MOST_TRIM_DB:
            raise OptionError(
                f"--level '{word} {by_db:+g}' would bring '{layer.called}' to {trim_db:+g} dB: "
                f"keep within {LEAST_TRIM_DB:g} to {MOST_TRIM_DB:+g} dB, or take it out with "
                f"--without '{word}'."
            )
        return replace(layer, trim_db=trim_db)

    return _with_layers(recipe, places, trimmed)


def _with_bridge_level(recipe: Recipe, by_lu: float) -> Recipe:
    level, allowed = recipe.level, RANGES["exit_lu"]
    ends = (level.exit_lu + by_lu, level.entry_lu + by_lu)
    if not all(allowed.least <= end <= allowed.most for end in ends):
        raise OptionError(
            f"--level 'bridge {by_lu:+g}' would bring the bridge to {ends[0]:+g} to {ends[1]:+g} "
            f"LU: keep within {allowed}."
        )
    return replace(recipe, level=replace(level, exit_lu=ends[0], entry_lu=ends[1]))


def without(recipe: Recipe, word: str) -> Recipe:
    """The recipe without some layers; without drums, loops of a song lose theirs too.

    Raises
    ------
    OptionError
        If there is no such layer, it is one of the songs, or it would be silent then.
    """
    thinned = recipe
    if word.strip().lower() == "drums":
        loops = [n for n, x in enumerate(recipe.layers) if _is_full_loop(x)]
        thinned = _with_layers(recipe, loops, lambda layer: replace(layer, part="harmonic"))
    if thinned == recipe or any("drums" in kinds_of(layer) for layer in recipe.layers):
        places = layers_called(thinned, word, "--without")
    else:
        places = ()
    for layer in (thinned.layers[n] for n in places):
        if is_the_song(layer):
            raise OptionError(
                f"--without '{word}': '{layer.called}' is the song itself, which stays; leave it "
                "earlier with --leave, or enter later with --enter."
            )
    kept = tuple(layer for n, layer in enumerate(thinned.layers) if n not in places)
    changed = replace(thinned, layers=kept)
    if silences(changed) and not silences(recipe):
        raise OptionError(
            f"--without '{word}': nothing else sounds in the bridge of '{recipe.name}', which "
            "would be silent: make it shorter with --bars, or take another recipe with --recipe."
        )
    return changed


def with_pad_sound(recipe: Recipe, sound: PadSound) -> Recipe:
    """All pads of another sound.

    Raises
    ------
    OptionError
        If there is no pad.
    """
    return _with_layers(recipe, pads_of(recipe, sound), lambda layer: replace(layer, sound=sound))


def pads_of(recipe: Recipe, wanted: str) -> tuple[int, ...]:
    """Places of the pads; `OptionError` if there are none."""
    pads = tuple(n for n, layer in enumerate(recipe.layers) if layer.source == "pad")
    if not pads:
        raise OptionError(
            f"--pad '{shortened(wanted)}': '{recipe.name}' has no pad; take a recipe with one, "
            "such as --recipe 'pad in the new key'."
        )
    return pads


def with_cadence(recipe: Recipe, cadence: CadenceChoice) -> Recipe:
    """Another last chord before the entry, in all that plays chords.

    Raises
    ------
    OptionError
        If nothing plays chords that lead to one.
    """
    places = [
        n
        for n, layer in enumerate(recipe.layers)
        if layer.source in _CHORD_SOURCES and layer.harmony in _LED_HARMONIES
    ]
    if not places:
        written = any(layer.harmony == "written" for layer in recipe.layers)
        reason = (
            "its chords are written; write others with --chords"
            if written
            else f"'{recipe.name}' plays no chords that lead anywhere; take a recipe that does, "
            "such as --recipe 'turnaround'"
        )
        raise OptionError(f"--cadence '{cadence}': {reason}.")
    return _with_layers(recipe, places, lambda layer: replace(layer, cadence=cadence))


def with_chords(recipe: Recipe, numerals: str) -> Recipe:
    """Written chords in all that plays any.

    Parameters
    ----------
    numerals : str
        In the new key.

    Raises
    ------
    OptionError
        If nothing plays chords.
    """
    places = [n for n, layer in enumerate(recipe.layers) if layer.source in _CHORD_SOURCES]
    if not places:
        raise OptionError(
            f"--chords: '{recipe.name}' plays no chords; take a recipe that does, "
            "such as --recipe 'turnaround'."
        )
    return _with_layers(
        recipe, places, lambda layer: replace(layer, harmony="written", chords=numerals)
    )


def with_bars(recipe: Recipe, n_bars: int) -> Recipe:
    """A bridge of so many bars, also beyond what the recipe does by itself.

    Raises
    ------
    OptionError
        If the recipe needs more, or would fall silent.
    """
    length = recipe.length
    if n_bars < length.least:
        raise OptionError(
            f"--bars {n_bars}: '{recipe.name}' needs at least {length.least}; take more, or "
            "another recipe with --recipe."
        )
    if n_bars <= length.most:
        return recipe
    longer = replace(recipe, length=replace(length, most=n_bars))
    if silences(longer) and not silences(recipe):
        raise OptionError(
            f"--bars {n_bars}: '{recipe.name}' has music for {length.most} at most; take fewer, "
            "or another recipe with --recipe."
        )
    return longer


def with_ramp(
    recipe: Recipe, ramp_bars: int, n_bars: int | None, *, held_bars: int | None = None
) -> tuple[Recipe, int]:
    """A ramp of the tempo over so many bars.

    Parameters
    ----------
    held_bars : int or None
        Bars at the old tempo before it; None leaves them as they are.
    n_bars : int or None
        Of the bridge, where they are said; else the steady bars stay as they are, but for what
        the recipe needs at least.

    Returns
    -------
    recipe : Recipe
    n_bars : int
        Of the bridge.

    Raises
    ------
    OptionError
        If it has no ramp, or a longer one than its bridge.
    """
    if recipe.tempo.move not in _RAMPS:
        raise OptionError(
            f"--ramp {ramp_bars}: the tempo of '{recipe.name}' has no ramp; take a recipe with "
            "one, such as --recipe 'tempo ramp'."
        )
    if ramp_bars < 1:
        raise OptionError(f"--ramp {ramp_bars}: a ramp takes a bar at least.")
    held = recipe.tempo.held_bars if held_bars is None else held_bars
    if not RANGES["held_bars"].least <= held <= RANGES["held_bars"].most:
        raise OptionError(f"--ramp-after {held}: keep within {RANGES['held_bars']}.")
    if n_bars is None:
        n_bars = max(held + ramp_bars + recipe.tempo.steady_bars, recipe.length.least)
    if held + ramp_bars > n_bars:
        after = f" after {held}" if held else ""
        raise OptionError(
            f"--ramp {ramp_bars}{after} is longer than the bridge of {n_bars} bars: take fewer, or "
            "more with --bars."
        )
    tempo = replace(recipe.tempo, held_bars=held, steady_bars=n_bars - held - ramp_bars)
    return with_bars(replace(recipe, tempo=tempo), n_bars), n_bars


def _with_layers(
    recipe: Recipe, places: Iterable[int], change: Callable[[RecipeLayer], RecipeLayer]
) -> Recipe:
    changed = set(places)
    return replace(
        recipe,
        layers=tuple(
            change(layer) if n in changed else layer for n, layer in enumerate(recipe.layers)
        ),
    )


def _is_heard(layer: RecipeLayer) -> bool:
    return layer.source not in ("click", "cue")


def _is_drums(layer: RecipeLayer) -> bool:
    return layer.part == "percussive" or layer.roles == ("drums",)


def _is_full_loop(layer: RecipeLayer) -> bool:
    return bool(layer.loop_bars) and layer.part == "all" and layer.roles != ("drums",)
