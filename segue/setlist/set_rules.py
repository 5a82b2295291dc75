"""What songs of one set may not say of each other, whatever the order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.errors import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.setlist.set_list import SetSong

Fault = tuple[tuple[str | int, ...], str]
"""Place in the file, and a sentence."""


def set_faults(songs: Sequence[SetSong | None]) -> Iterator[Fault]:
    """Everything that is wrong between songs.

    Parameters
    ----------
    songs : sequence of SetSong or None
        None for a song that could not be read.

    Yields
    ------
    Fault
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
