"""What the main job is asked to do, and on which terms."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Final

from segue.audio.clip import Overrides
from segue.audio.read import DEFAULT_EDGE_S, DEFAULT_RATE_HZ
from segue.plan.places_asked import PlacesAsked

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from segue.plan.plan import StretchEngine
    from segue.score import Purpose

LONGEST_TALK_S: Final = 600.0  # ten minutes of talk over a bed


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What a single segue and a whole evening are asked for alike.

    Parameters
    ----------
    edge_s : float
        How much of each song is read.
    recipes : Path or None
        A folder of recipes instead of the built-in shelf.
    own_recipes : Path or None
        A folder of the user's own recipes beside the shelf; it need not exist.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the segue is for: the column of the table of weights.
    own_weights : mapping or None
        The band's own weights, which count where no purpose is given.
    match : bool
        Bring both songs to one loudness.
    pad : Path or None
        The user's own sound for all pads: one recorded note, or a SoundFont.
    replace : bool
        Whether a run whose choice was made may be replaced.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    """

    rate_hz: int = DEFAULT_RATE_HZ
    edge_s: float = DEFAULT_EDGE_S
    recipes: Path | None = None
    own_recipes: Path | None = None
    purpose: Purpose | None = None
    own_weights: Mapping[str, float] | None = None
    match: bool = False
    pad: Path | None = None
    seed: int = 0
    replace: bool = False
    cached: bool = True

    @property
    def terms(self) -> dict[str, Any]:
        """All of these by name, for what is asked on the same terms."""
        return {field.name: getattr(self, field.name) for field in fields(Terms)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Request(Terms):
    """What `make_segues` is asked to do.

    Parameters
    ----------
    lead : Path or None
        A file with the incoming song's sung or lead part.
    only : tuple of str
        Names of recipes to use; empty means the most suitable ones.
    talk_s : float or None
        What the singer wants for talking between the songs.
    asked : PlacesAsked
        Where the musician wants to leave and to enter, and the bars between.
    shift_b : int
        Semitones that the incoming song is moved by.
    n_workers : int
        Processes that share the work; the sound is the same.
    counted_bpm : (float or None, float or None)
        Tempo at which the end of the old song and the start of the new are counted, where an
        evening has settled it for all its songs; both None counts the two together.
    titles : (str or None, str or None)
        What the songs are called, where their own names are not to be used.
    """

    outgoing: Path
    incoming: Path
    out: Path
    outgoing_overrides: Overrides = field(default_factory=Overrides)
    incoming_overrides: Overrides = field(default_factory=Overrides)
    lead: Path | None = None
    only: tuple[str, ...] = ()
    talk_s: float | None = None
    asked: PlacesAsked = field(default_factory=PlacesAsked)
    shift_b: int = 0
    stretch_engine: StretchEngine = "own"
    n_workers: int = 1
    counted_bpm: tuple[float | None, float | None] = (None, None)
    titles: tuple[str | None, str | None] = (None, None)

    @property
    def weights(self) -> Mapping[str, float] | None:
        """The band's own weights where they count."""
        return self.own_weights if self.purpose is None else None

    @property
    def n_useful_workers(self) -> int:
        """One for a single segue: processes would take longer to start than they save."""
        return 1 if len(self.only) == 1 else self.n_workers
