"""What a band writes of its evening: the songs, what is fixed, and what happens between them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from segue.analysis.overrides import Overrides
from segue.errors import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
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
    length_s : float or None
        How long the band plays it; None for as long as the file.
    energy : int or None
        1 to 5.
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
    songs : tuple of SetSong
        In the order of the file; at least one.
    """

    title: str
    slot_s: float | None
    songs: tuple[SetSong, ...]


Fault = tuple[tuple[str | int, ...], str]
"""Place in the file, and a sentence."""


def set_faults(songs: Sequence[SetSong | None]) -> Iterator[Fault]:
    """What songs of one set may not say of each other, whatever the order.

    Parameters
    ----------
    songs : sequence of SetSong or None
        None for a song that could not be read.
    """
    first: dict[str, int] = {}
    for n, song in enumerate(songs):
        if song is None:
            continue
        if song.title in first:
            words = (
                f"song {n + 1} is called '{song.title}' like song {first[song.title] + 1}: "
                "give one of them another title."
            )
            yield ("songs", n, "title"), words
        first.setdefault(song.title, n)
    # A title that could not be read may be the one that is meant.
    known = set(first) if None not in songs else None
    for n, song in enumerate(songs):
        if song is not None:
            yield from _of_one(song, n, len(songs))
            if known is not None:
                yield from _of_titles(song, n, known)
    yield from _twice(songs, "opens")
    yield from _twice(songs, "closes")


def _of_one(song: SetSong, n: int, n_songs: int) -> Iterator[Fault]:
    if song.opens and song.closes and n_songs > 1:
        yield ("songs", n, "closes"), f"'{song.title}' cannot both open and close the set."
    if song.at is not None and song.at > n_songs:
        yield (
            ("songs", n, "at"),
            f"'at' of song {n + 1} is {song.at}, but there are {n_songs} songs.",
        )
    if song.opens and song.after is not None:
        yield ("songs", n, "after"), f"'{song.title}' opens the set and cannot come after a song."
    if song.recipe is not None and not song.is_segue:
        words = (
            f"'{song.title}' is followed by a plain stop, which takes no recipe: leave out "
            "the recipe, or write segue = true."
        )
        yield ("songs", n, "recipe"), words


def _of_titles(song: SetSong, n: int, known: set[str]) -> Iterator[Fault]:
    named = [("after", song.after)] if song.after is not None else []
    named += [("not_beside", title) for title in song.not_beside]
    for name, title in named:
        place = ("songs", n, name)
        if title == song.title:
            yield place, f"'{name}' of song {n + 1} names the song itself."
        elif title not in known:
            hint = did_you_mean(title, known) or f" There are {', '.join(sorted(known))}."
            yield place, f"'{name}' of song {n + 1} names '{title}', which is no title here.{hint}"
    if song.after is not None and song.after in song.not_beside:
        words = f"'{song.title}' must follow '{song.after}' and must not be beside it."
        yield ("songs", n, "not_beside"), words


def _twice(songs: Sequence[SetSong | None], name: str) -> Iterator[Fault]:
    those = [n for n, song in enumerate(songs) if song is not None and getattr(song, name)]
    for n in those[1:]:
        yield ("songs", n, name), f"songs {those[0] + 1} and {n + 1} both have {name} = true."
