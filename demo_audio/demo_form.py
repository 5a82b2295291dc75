"""What a demo song is made of: sections that say who plays what, and the facts around them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from demo_grooves import Groove

Opening = Literal["on the beat", "pick-up", "free intro"]
Ending = Literal["keeps going", "cold stop", "ring-out", "fade"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the form: who plays what over which chords. Empty text: does not play."""

    name: str
    chords: str
    groove: Groove = field(default_factory=dict)
    fill: Groove = field(default_factory=dict)
    crash: bool = False
    bass: str = ""
    keys: str = ""
    guitar: str = ""
    pad: str = ""
    lead: str = ""
    energy: float = 1.0
    bar_beats: float | None = None
    """Only where the bar is not a whole one: the pick-up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Song:
    """A song and its sounds; programs are General MIDI numbers from 0."""

    folder: str
    title: str
    key: str
    tempo_bpm: float
    metre: int
    sections: tuple[Section, ...]
    opening: Opening
    ending: Ending
    programs: dict[str, int]
    seed: int
    bar_beats: float = 4.0
    pickup_beats: float = 0.0
    before_s: float = 0.0
    """Air before the first note."""
    after_s: float = 0.0
    """How long the file runs on after the last beat."""
    fade_beats: float = 0.0
    swing: float = 0.5
    """Share of an eighth that its first sixteenth takes."""
    free_beats_s: tuple[float, ...] = ()
    """Lengths of the beats of a free introduction."""
    known: str = ""
    """Text of song.toml, where the band wrote one."""
