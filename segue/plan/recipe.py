"""Recipes: ways across, written as TOML files.

A recipe says what it suits, how long it lasts, how its tempo moves, what the
harmony does, and which layers sound when. Positions are written against four
anchors, in bars: ``"exit"`` (the interlude starts), ``"entry"`` (bar one of the
incoming song), ``"start"`` and ``"end"`` (of the candidate), such as
``"entry - 2"`` or ``"exit + 0.5"``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final, Literal, cast, get_args

from segue.analysis.facts import EndingKind, OpeningKind
from segue.audio.clip import Role
from segue.plan.plan import PadSound, Part

SCHEMA_VERSION: Final = 1

Anchor = Literal["start", "exit", "entry", "end"]
LayerSource = Literal["outgoing", "incoming", "pad"]
Harmony = Literal["none", "path", "new key", "dominant", "drone"]
TempoMove = Literal["step", "linear", "geometric"]

_POSITION = re.compile(r"\s*(start|exit|entry|end)\s*(?:([+-])\s*(\d+(?:\.\d+)?))?\s*")
_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")

PLACEHOLDERS: Final = (
    "key_from",
    "key_to",
    "interval",
    "relation",
    "tempo_from",
    "tempo_to",
    "bars",
    "seconds",
    "percent_a_beat",
    "chords",
    "ending",
    "opening",
)
"""What a recipe's `why` may mention in braces."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place in the plan: an anchor and a number of bars from it."""

    anchor: Anchor
    bars: float = 0.0

    def __str__(self) -> str:
        if self.bars == 0:
            return self.anchor
        return f"{self.anchor} {'-' if self.bars < 0 else '+'} {abs(self.bars):g}"


def parse_position(text: str) -> Position:
    """Place that a text such as ``"entry - 2"`` names.

    Raises
    ------
    ValueError
        If the text is not an anchor with an optional number of bars.

    Examples
    --------
    >>> parse_position("exit + 0.5")
    Position(anchor='exit', bars=0.5)
    """
    match = _POSITION.fullmatch(text)
    if match is None:
        raise ValueError(
            f"'{text}' is not a position: write an anchor ({', '.join(get_args(Anchor))}) "
            "and bars, such as 'entry - 2'"
        )
    anchor, sign, bars = match.groups()
    distance = float(bars or 0) * (-1 if sign == "-" else 1)
    return Position(anchor=cast("Anchor", anchor), bars=distance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Suits:
    """What a recipe is good for.

    Parameters
    ----------
    key_distance : tuple of float
        Least and most key distance (0 the same key, 1 the farthest) at home.
    tempo_change : tuple of float
        Least and most ratio of the faster tempo to the slower.
    endings, openings : tuple of str
        Kinds at home; empty means all.
    needs_pulse : tuple of {'outgoing', 'incoming'}
        Songs whose beats must be clear.
    """

    key_distance: tuple[float, float] = (0.0, 1.0)
    tempo_change: tuple[float, float] = (1.0, 4.0)
    endings: tuple[EndingKind, ...] = ()
    openings: tuple[OpeningKind, ...] = ()
    needs_pulse: tuple[Literal["outgoing", "incoming"], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """How long the interlude is.

    Parameters
    ----------
    least, default, most : int
        Bars.
    aim_s : float or None
        Length to come near to within least and most; None takes `default`.
    carry_bars : float
        Bars of the outgoing song's own music inside the interlude; -1 for all.
    counted_by : {'outgoing', 'incoming'}
        Whose metre the interlude has.
    """

    least: int
    default: int
    most: int
    aim_s: float | None = None
    carry_bars: int = 0
    counted_by: Literal["outgoing", "incoming"] = "incoming"

    def __post_init__(self) -> None:
        if not 1 <= self.least <= self.default <= self.most:
            raise ValueError(
                f"length needs 1 <= least <= default <= most, got {self.least}, "
                f"{self.default}, {self.most}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempo:
    """How the tempo gets from the old song to the new.

    Parameters
    ----------
    move : {'step', 'linear', 'geometric'}
        All at once, evenly in beats, or by the same per cent every beat.
    step_at : {'exit', 'entry'}
        Where a step happens.
    steady_bars : int
        Bars at the new tempo before the entry, after a ramp.
    percent_a_beat : float
        Change a beat that a ramp aims at; it takes more bars to keep to it.
    """

    move: TempoMove = "step"
    step_at: Literal["exit", "entry"] = "exit"
    steady_bars: int = 1
    percent_a_beat: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.percent_a_beat <= MOST_PERCENT_A_BEAT:
            raise ValueError(
                f"percent_a_beat must be above 0 and at most {MOST_PERCENT_A_BEAT:g}, "
                f"got {self.percent_a_beat}"
            )


MOST_PERCENT_A_BEAT: Final = 6.0
"""A larger change a beat is a stumble: the just-noticeable change of a single beat is 6 %
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Breakpoint:
    """A value at a position."""

    at: Position
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLayer:
    """One sounding layer of a recipe.

    Parameters
    ----------
    source : {'outgoing', 'incoming', 'pad'}
    start, end : Position
    name : str
    roles, part, fade_in_s, fade_out_s
        As in `segue.plan.plan.SongLayer`; roles apply where stems are given,
        `part` where only a mix is.
    only : {'always', 'stems', 'mix'}
        Whether the layer is for songs with stems, for mixes, or for both.
    harmony : {'none', 'path', 'new key', 'dominant', 'drone'}
        What a pad plays: the path from the old key, a progression in the new
        key, its dominant, or its root and fifth.
    sound : {'warm', 'glass', 'choir'}
    gain_db, lowpass_hz, highpass_hz, reverb_db : tuple of Breakpoint
    """

    source: LayerSource
    start: Position
    end: Position
    name: str = ""
    roles: tuple[Role, ...] = ()
    part: Part = "all"
    only: Literal["always", "stems", "mix"] = "always"
    fade_in_s: float = 0.01
    fade_out_s: float = 0.02
    harmony: Harmony = "none"
    bars_a_chord: float = 1.0
    sound: PadSound = "warm"
    gain_db: tuple[Breakpoint, ...] = ()
    lowpass_hz: tuple[Breakpoint, ...] = ()
    highpass_hz: tuple[Breakpoint, ...] = ()
    reverb_db: tuple[Breakpoint, ...] = ()

    def __post_init__(self) -> None:
        if (self.source == "pad") != (self.harmony != "none"):
            raise ValueError("a pad needs a harmony, and only a pad has one")
        if not self.bars_a_chord > 0:
            raise ValueError(f"bars_a_chord must be positive, got {self.bars_a_chord}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A way across, as written in a recipe file."""

    schema_version: Literal[1]
    name: str
    family: str
    summary: str
    why: str
    length: Length
    layers: tuple[RecipeLayer, ...]
    suits: Suits = field(default_factory=Suits)
    tempo: Tempo = field(default_factory=Tempo)

    def __post_init__(self) -> None:
        if not self.layers:
            raise ValueError("a recipe needs at least one layer")
        unknown = [word for word in _PLACEHOLDER.findall(self.why) if word not in PLACEHOLDERS]
        if unknown:
            raise ValueError(
                f"why mentions {{{unknown[0]}}}, which is none of {', '.join(PLACEHOLDERS)}"
            )
