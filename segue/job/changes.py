"""What a musician changes about an option, and what becomes of how it was made."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.errors import OptionError, counted, did_you_mean, shortened
from segue.music.chord import CADENCE_CHOICES, CadenceChoice, tonic_triad
from segue.music.chord_words import numeral_of, parse_chord
from segue.plan.places_asked import MOST_BARS_ASKED, PlacesAsked, places_asked
from segue.recipes import Recipe, all_recipes
from segue.recipes.changed_recipe import (
    BRIDGE,
    LEAST_TRIM_DB,
    MOST_TRIM_DB,
    PAD_SOUNDS,
    pads_of,
    with_bars,
    with_cadence,
    with_chords,
    with_pad_sound,
    with_ramp,
    with_trim,
    without,
)
from segue.recipes.rules import MOST_CHORDS
from segue.runfolder import CandidateRecord, Making, place_text

if TYPE_CHECKING:
    from segue.music.key import Key

_LEVEL: Final = re.compile(r"(.+?)\s+([-+]?\d{1,3}(?:\.\d{1,3})?)\s*(?:dB|LU)?", re.IGNORECASE)
_CADENCES: Final[dict[str, CadenceChoice]] = {
    "plagal": "subdominant",
    "authentic": "dominant",
    "perfect": "dominant",
    "v": "dominant",
    "v7": "dominant",
    "iv": "subdominant",
    "bvii": "flat seventh",
}
"""Other words of musicians for the cadences."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What to change about an option; None and empty leave it as it is.

    Parameters
    ----------
    recipe : str or None
        Another recipe, by its name. It is taken as it stands: what was changed in the earlier
        one is not carried over, but where the songs are left and entered is.
    n_bars : int or None
        Bars of the bridge.
    ramp_bars : int or None
        Bars over which the tempo moves.
    held_bars : int or None
        Bars of the bridge at the old tempo before it moves; goes with `ramp_bars`.
    leave : str or None
        Where the old song is left: '3:12', '192s', 'bar -8', 'last chord' or 'end'.
    enter : str or None
        Where the new song is entered: '0:08', 'bar 9' or 'first note - 2 bars'.
    exactly : bool
        Keep those places on the nearest beat; else they are moved to the nearest bar line.
    pad : str or None
        Sound of the pads: 'warm', 'glass', 'choir', or a file with a sound of your own.
    chords : str or None
        Chords that lead to the new song, such as 'Em C Db C7'.
    cadence : str or None
        The last chord before the entry: 'dominant', 'subdominant' (or 'plagal'),
        'flat seventh' or 'any'.
    without : tuple of str
        Layers to leave out, by their names or kinds: 'drums', 'pad', 'riser'.
    levels : tuple of (str, float)
        Layers and by how many decibels they are louder or, below 0, softer; 'bridge' is all of
        them together.
    """

    recipe: str | None = None
    n_bars: int | None = None
    ramp_bars: int | None = None
    held_bars: int | None = None
    leave: str | None = None
    enter: str | None = None
    exactly: bool = False
    pad: str | None = None
    chords: str | None = None
    cadence: str | None = None
    without: tuple[str, ...] = ()
    levels: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """How a version is made, and what was changed for it, in words."""

    making: Making
    words: tuple[str, ...]


def level_asked(text: str) -> tuple[str, float]:
    """A layer and decibels, as they are written.

    Raises
    ------
    OptionError
        If it is not a layer and a number.

    Examples
    --------
    >>> level_asked("new drums -1.5 dB")
    ('new drums', -1.5)
    """
    match = _LEVEL.fullmatch(text.replace("−", "-").strip())
    if match is None:
        raise OptionError(
            f"--level '{shortened(text)}' is not a layer and decibels: write \"pad -3\" or "
            '"bridge +2".'
        )
    return match[1], float(match[2])


def changed(
    record: CandidateRecord,
    changes: Changes,
    *,
    keys: tuple[Key, Key],
    own_recipes: Path | None = None,
) -> Changed:
    """How an option is made once something about it is changed.

    Parameters
    ----------
    record : CandidateRecord
        The option or version that is changed.
    keys : (Key, Key)
        At the end of the old song and at the start of the new one.
    own_recipes : Path or None
        Folder of the user's own recipes beside the shelf.

    Raises
    ------
    OptionError
        If there is nothing to change, or something cannot be done.
    """
    if changes == Changes():
        raise OptionError(
            "nothing to change was said: add what, such as --bars 8 or --level 'pad -3'."
        )
    made = _made(record)
    recipe, words = made.recipe, []
    n_bars_now = sum(bar.section == "interlude" for bar in record.bars)
    if changes.recipe is not None:
        recipe = all_recipes(own=own_recipes).named(changes.recipe, where="--recipe ").recipe
        words.append(f"recipe '{recipe.name}'")
    asked, said = _places(made.asked, changes, n_bars_now)
    words += said
    recipe, asked, said = _lengths(recipe, asked, changes)
    words += said
    pad = made.pad
    if changes.pad is not None:
        recipe, pad = _padded(recipe, changes.pad)
        words.append(f"pad {changes.pad}")
    recipe, said = _harmony(recipe, changes, keys[1])
    words += said
    for word in changes.without:
        recipe = without(recipe, word)
        words.append(f"without {word}")
    for word, by_db in changes.levels:
        recipe = _trimmed(recipe, word, by_db)
        words.append(f"{word} {by_db:+g} {'LU' if word == BRIDGE else 'dB'}")
    return Changed(making=replace(made, recipe=recipe, asked=asked, pad=pad), words=tuple(words))


def _made(record: CandidateRecord) -> Making:
    if record.made is None:
        raise OptionError(
            f"option {record.label} cannot be changed: an older Segue made the run; make it again "
            "with 'segue between'."
        )
    return record.made


def _places(
    before: PlacesAsked, changes: Changes, n_bars_now: int
) -> tuple[PlacesAsked, list[str]]:
    """Where the songs are left and entered, and for how many bars; read before all else."""
    given = PlacesAsked()
    if any(value is not None for value in (changes.leave, changes.enter, changes.n_bars)):
        given = places_asked(leave=changes.leave, enter=changes.enter, n_bars=changes.n_bars)
    kept = [before.leave] * (given.leave is None) + [before.enter] * (given.enter is None)
    is_placed = given.leave is not None or given.enter is not None
    if changes.exactly and not is_placed and not any(kept):
        places_asked(exactly=True)  # which says what is missing
    n_bars = given.n_bars or before.n_bars
    if n_bars is None and is_placed and changes.recipe is None:
        n_bars = n_bars_now  # a place that moves shall not change the length, too
    asked = PlacesAsked(
        leave=given.leave or before.leave,
        enter=given.enter or before.enter,
        n_bars=n_bars,
        exactly=changes.exactly or (before.exactly and any(kept)),
    )
    said = [f"left at {given.leave.text}"] if given.leave else []
    said += [f"entered at {given.enter.text}"] if given.enter else []
    said += ["exactly there"] if changes.exactly else []
    return asked, said


def _lengths(
    recipe: Recipe, asked: PlacesAsked, changes: Changes
) -> tuple[Recipe, PlacesAsked, list[str]]:
    said = []
    if changes.n_bars is not None:
        recipe = with_bars(recipe, changes.n_bars)
        said.append(counted(changes.n_bars, "bar"))
    if changes.held_bars is not None and changes.ramp_bars is None:
        raise OptionError(
            f"--ramp-after {changes.held_bars} says where a ramp begins: say with --ramp over how "
            "many bars the tempo moves."
        )
    if changes.ramp_bars is not None:
        if changes.ramp_bars > MOST_BARS_ASKED:
            raise OptionError(
                f"--ramp {changes.ramp_bars} is more than {MOST_BARS_ASKED} bars: take fewer."
            )
        recipe, n_bars = with_ramp(
            recipe, changes.ramp_bars, changes.n_bars, held_bars=changes.held_bars
        )
        places_asked(n_bars=n_bars)
        asked = replace(asked, n_bars=n_bars)
        after = f" after {changes.held_bars}" if changes.held_bars else ""
        said.append(f"ramp over {changes.ramp_bars}{after}")
    return recipe, asked, said


def _padded(recipe: Recipe, wanted: str) -> tuple[Recipe, str]:
    """The recipe and the user's own sound, if it is one."""
    sound = next((known for known in PAD_SOUNDS if known == wanted.strip().lower()), None)
    if sound is not None:
        return with_pad_sound(recipe, sound), ""
    path = Path(wanted)
    pads_of(recipe, wanted)
    if not path.is_file():
        raise OptionError(
            f"--pad '{shortened(wanted)}' is none of {', '.join(PAD_SOUNDS)} and no file: take "
            f"one of these, or name a file.{did_you_mean(wanted, PAD_SOUNDS)}"
        )
    return recipe, place_text(path)


def _harmony(recipe: Recipe, changes: Changes, new: Key) -> tuple[Recipe, list[str]]:
    said = []
    if changes.chords is not None and changes.cadence is not None:
        raise OptionError(
            "--cadence says the last of Segue's own chords, and --chords says all of them: give "
            "one of the two."
        )
    if changes.chords is not None:
        chords = _chords_asked(changes.chords, new)
        recipe = with_chords(recipe, chords)
        said.append(f"chords {' '.join(changes.chords.split())}")
    if changes.cadence is not None:
        word = " ".join(changes.cadence.lower().split())
        cadence = _CADENCES.get(word, word)
        if cadence not in CADENCE_CHOICES:
            known = (*CADENCE_CHOICES, "plagal", "authentic")
            raise OptionError(
                f"--cadence '{shortened(changes.cadence)}' is none of {', '.join(known)}: take "
                f"one of these.{did_you_mean(word, known)}"
            )
        recipe = with_cadence(recipe, cadence)
        said.append(f"cadence {word}")
    return recipe, said


def _chords_asked(text: str, new: Key) -> str:
    """Numerals in the new key; its own tonic at the end is where the new song comes in."""
    words = re.sub(r"[|,;→]|\s-+\s", " ", text).split()
    if not words:
        raise OptionError("--chords is empty: write some, such as 'Em C Db C7'.")
    if len(words) > MOST_CHORDS:
        raise OptionError(f"--chords: {len(words)} chords are more than {MOST_CHORDS}: take fewer.")
    try:
        chords = [parse_chord(word) for word in words]
    except OptionError as error:
        raise OptionError(f"--chords: {error}") from error
    if len(chords) > 1 and chords[-1] == tonic_triad(new):
        chords.pop()
    return " ".join(numeral_of(chord, new) for chord in chords)


def _trimmed(recipe: Recipe, word: str, by_db: float) -> Recipe:
    if not LEAST_TRIM_DB <= by_db <= MOST_TRIM_DB:
        raise OptionError(
            f"--level '{shortened(word)} {by_db:+g}' is outside {LEAST_TRIM_DB:g} to "
            f"{MOST_TRIM_DB:+g} dB: keep within."
        )
    return with_trim(recipe, word, by_db)


def check_chords(recipe: Recipe, n_beats: float) -> None:
    """Refuse more written chords than the bridge has beats.

    Raises
    ------
    OptionError
        If there are.
    """
    n_chords = max((len(layer.chords.split()) for layer in recipe.layers), default=0)
    if n_chords > n_beats:
        raise OptionError(
            f"--chords: {n_chords} chords in {n_beats:.0f} beats are more than one a beat: take "
            "fewer, or more bars with --bars."
        )
