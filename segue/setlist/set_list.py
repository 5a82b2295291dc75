"""What a band writes of its evening: the songs, what is fixed, and what happens between them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from segue.analysis.overrides import Overrides

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSong:
    """A song of the set, and what happens after it.

    Parameters
    ----------
    path : Path
        An audio file or a folder of stems.
    title : str
        Unique in the set.
    overrides : Overrides
        What the musician says of both edges.
    length_s : float or None
        How long the band plays it; None for as long as the file.
    energy : int or None
        1 to 5.
    voice : str or None
        Who sings.
    opens, closes : bool
        Whether it must come first or last.
    at : int or None
        The place it must have, from 1.
    after : str or None
        Title of the song that it must directly follow.
    not_beside : tuple of str
        Titles that must not be its neighbours.
    talk_s, changeover_s : float
        Talk, and retuning or swapping instruments, after this song.
    is_segue : bool
        Whether music leads to the next song, whichever that is; False for a plain stop.
    recipe : str or None
        The only recipe to be used for that.
    """

    path: Path
    title: str
    overrides: Overrides = field(default_factory=Overrides)
    length_s: float | None = None
    energy: int | None = None
    voice: str | None = None
    opens: bool = False
    closes: bool = False
    at: int | None = None
    after: str | None = None
    not_beside: tuple[str, ...] = ()
    talk_s: float = 0.0
    changeover_s: float = 0.0
    is_segue: bool = True
    recipe: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetList:
    """The set as written.

    Parameters
    ----------
    slot_s : float or None
        What the stage has given.
    songs : tuple of SetSong
        In the order of the file; at least one.
    """

    title: str
    slot_s: float | None
    songs: tuple[SetSong, ...]
