"""Recipes: segues, written as TOML files.

A recipe says what it suits, how long it lasts, how its tempo moves, what the
harmony does, and which layers sound when. What its fields may hold is in
`segue.recipes.rules`; no recipe exists that breaks those rules.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from segue.analysis.facts import EndingKind, OpeningKind
from segue.audio.clip import Role
from segue.recipes.position import Breakpoint as Breakpoint
from segue.recipes.position import Position as Position
from segue.recipes.recipe_layer import LayerSource as LayerSource
from segue.recipes.recipe_layer import Pattern as Pattern
from segue.recipes.recipe_layer import RecipeLayer as RecipeLayer
from segue.recipes.recipe_layer import Side
from segue.recipes.rules import MOST_PERCENT_A_BEAT as MOST_PERCENT_A_BEAT
from segue.recipes.rules import (
    Misfit,
    layers_misfits,
    out_of_range,
    refuse,
    unreadable_texts,
    why_misfits,
)

SCHEMA_VERSION: Final = 1  # of recipe files

TempoMove = Literal["hold", "step", "linear", "geometric", "half-time", "free"]
Purposely = Literal["two vocals", "two bass lines"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suits:
    """What a recipe is good for.

    Parameters
    ----------
    key_distance : tuple of float
        Least and most key distance (0 the same key, 1 the farthest) at home.
    tempo_change : tuple of float
        Least and most ratio of the faster tempo to the slower.
    endings : tuple of EndingKind
        How the old song may end; none named is any.
    openings : tuple of OpeningKind
        How the new song may start; none named is any.
    needs_pulse : tuple of {'outgoing', 'incoming'}
        Songs whose beats must be clear.
    outgoing_stems : tuple of Role
        Stems of the old song that it cannot do without.
    incoming_stems : tuple of Role
        Stems of the new song that it cannot do without.
    talk : {'no', 'yes', 'either'}
        Whether the singer may talk over it; 'yes' is made for talking only.
    energy : {'up', 'down', 'either'}
        Where the evening may be going from the old song to the new.
    """

    key_distance: tuple[float, float] = (0.0, 1.0)
    tempo_change: tuple[float, float] = (1.0, 4.0)
    endings: tuple[EndingKind, ...] = ()
    openings: tuple[OpeningKind, ...] = ()
    needs_pulse: tuple[Side, ...] = ()
    outgoing_stems: tuple[Role, ...] = ()
    incoming_stems: tuple[Role, ...] = ()
    talk: Literal["no", "yes", "either"] = "no"
    energy: Literal["up", "down", "either"] = "either"

    def __post_init__(self) -> None:
        refuse(out_of_range(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """How long the bridge is.

    Parameters
    ----------
    least : int
        Never fewer bars than this.
    default : int
        Bars where nothing else decides.
    most : int
        Never more bars than this.
    aim_s : float or None
        Seconds to come near to, within least and most; without it, `default` bars.
    carry_bars : int
        Bars of the old song's own music inside the bridge; -1 for all.
    overlap_bars : int
        Bars of the old song's own music that go on after the entry.
    fills_talk : bool
        Lasts as long as the singer talks, in whole bars, and one clear bar more;
        then `most` is no limit.
    counted_by : {'outgoing', 'incoming'}
        Whose metre the bridge has.
    """

    least: int
    default: int
    most: int
    aim_s: float | None = None
    carry_bars: int = 0
    overlap_bars: int = 0
    fills_talk: bool = False
    counted_by: Side = "incoming"

    def __post_init__(self) -> None:
        order: tuple[Misfit, ...] = ()
        if not self.least <= self.default <= self.most:
            found = f"{self.least}, {self.default}, {self.most}"
            sentence = f"least, default, most are {found}; write them in ascending order"
            order = (Misfit(("default",), sentence),)
        refuse(out_of_range(self), order)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempo:
    """How the tempo gets from the old song to the new.

    Parameters
    ----------
    move : {'hold', 'step', 'linear', 'geometric', 'half-time', 'free'}
        The old tempo up to the entry; all at once; evenly in beats; by the same
        per cent every beat; half the new tempo until the steady bars; or in free
        time, where nobody counts before the count-in.
    step_at : {'exit', 'entry'}
        Where a step happens.
    held_bars : int
        Bars at the old tempo before a ramp begins.
    steady_bars : int
        Bars at the new tempo before the entry, after a ramp or half-time.
    percent_a_beat : float
        Change a beat that a ramp aims at; it takes more bars to keep to it.
    """

    move: TempoMove = "step"
    step_at: Literal["exit", "entry"] = "exit"
    held_bars: int = 0
    steady_bars: int = 1
    percent_a_beat: float = 1.0

    def __post_init__(self) -> None:
        refuse(out_of_range(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """How loud the bridge is, all that sounds in it together, against the songs around it.

    Parameters
    ----------
    exit_lu : float
        Where it starts, against the quieter of the old song's last bars and the new song's first;
        a bed to talk over (-14) between the two, and dipped where a voice has its consonants.
    entry_lu : float
        Where it ends, against the same.
    rise_bars : float
        Bars before the entry in which it goes from the one to the other; -1 takes all of it.
    stop_bars : float
        Bars from the exit in which it may be silent: nothing is brought up to its level there.
    """

    exit_lu: float = -2.0
    entry_lu: float = -1.0
    rise_bars: float = -1.0
    stop_bars: float = 0.0

    def __post_init__(self) -> None:
        refuse(out_of_range(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A segue, as written in a recipe file.

    Parameters
    ----------
    schema_version : 1
        Version of this language.
    name : str
        What the recipe is called; different from all others.
    family : str
        Kind of segue; the proposals for a pair are of different families.
    summary : str
        One sentence for a list of recipes.
    why : str
        One sentence on why it suits a pair, with facts of the pair in braces.
    length : Length
        How long the bridge is.
    layers : tuple of RecipeLayer
        What sounds, one table each.
    suits : Suits
        What pairs the recipe is good for.
    tempo : Tempo
        How the tempo gets from the old song to the new.
    level : Level
        How loud the bridge is against the songs around it.
    on_purpose : tuple of {'two vocals', 'two bass lines'}
        What may sound at once; anything not named here may not.
    """

    schema_version: Literal[1]
    name: str
    family: str
    summary: str
    why: str
    length: Length
    layers: tuple[RecipeLayer, ...]
    suits: Suits = field(default_factory=Suits)
    tempo: Tempo = field(default_factory=Tempo)
    level: Level = field(default_factory=Level)
    on_purpose: tuple[Purposely, ...] = ()

    def __post_init__(self) -> None:
        refuse(unreadable_texts(self), why_misfits(self.why), layers_misfits(self.layers))
