"""What could follow a song, or precede it, with the reasons in words.

The song is meant by a path or a title, and taken as it is on disk now.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.audio import read_song
from segue.catalogue.filling import title_at, told_problem
from segue.catalogue.pairs import DEFAULT_TOP, all_songs, columns_of, costs, side_in, side_of
from segue.catalogue.scan import FoundSong, absolute, song_at
from segue.catalogue.suiting import ENDINGS, OPENINGS, EdgeTraits, Step, reasons, step_between
from segue.errors import InputError, OptionError, did_you_mean, disk_faults, printable
from segue.heard.facts_cache import user_facts_cache
from segue.heard.hearing import hear

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Floats
    from segue.catalogue.store import Listed, Store

State = Literal["", "gone", "changed"]
_NOT_ONE_SONG: Final = (
    "is not one song: name a file in it, or write a song.toml into it if its files are the "
    "stems of one."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedSong:
    """The song that is meant.

    Parameters
    ----------
    contents : frozenset of str
        What it holds, and what it held when the catalogue heard it: none of them is another song.
    is_anew : bool
        Whether it changed since the catalogue heard it.
    """

    title: str
    path: str
    contents: frozenset[str]
    is_anew: bool
    side: EdgeTraits


def asked_for(store: Store, song: str, edge: Literal["start", "end"]) -> AskedSong:
    """The song that is meant, known by its path, wherever links lead, by its title or its content.

    Parameters
    ----------
    song : str
        A path, which need not be in the catalogue, or a title in it.

    Returns
    -------
    AskedSong
        A file that the catalogue does not have, or has otherwise, is heard.

    Raises
    ------
    SegueError
        If there is no such song, more than one of that title, or a folder is not one song.
    """
    listed = _at_path(store, song) or (None if _exists(song) else _of_title(store, song))
    if listed is None:
        return _on_disk(store, Path(song), None, edge)
    state = state_of(listed)
    if state == "changed" or (state == "gone" and os.path.isdir(listed.path)):  # noqa: PTH112 - never raises
        return _on_disk(store, Path(listed.path), listed, edge)
    side = side_in(store, listed.content, edge)
    if side is None:
        raise OptionError(_why_unheard(store, listed))
    return AskedSong(
        title=listed.title,
        path=listed.path,
        contents=frozenset({listed.content}),
        is_anew=False,
        side=side,
    )


def state_of(song: Listed) -> State:
    """Whether what the catalogue heard is there still: 'gone' if not, 'changed' if touched."""
    try:
        found = song_at(Path(song.path))
        stamp = None if found is None else found.stamp()
    except (OSError, ValueError):  # the latter of a name with a null
        return "gone"
    if stamp is None:
        return "gone"
    return "" if stamp == song.stamp else "changed"


def _on_disk(
    store: Store, path: Path, before: Listed | None, edge: Literal["start", "end"]
) -> AskedSong:
    """A song known by what it holds, or heard now."""
    with disk_faults(path, "cannot be read ({})."):
        found = song_at(path)
        if found is None:
            raise InputError(
                path, _NOT_ONE_SONG if path.is_dir() else "is no audio file; name a song."
            )
        content = found.content()
    side = side_in(store, content, edge)
    return AskedSong(
        title=title_at(found),
        path=str(path),
        contents=frozenset({content} if before is None else {content, before.content}),
        is_anew=before is not None and before.content != content,
        side=side or _heard(found, edge),
    )


def _at_path(store: Store, song: str) -> Listed | None:
    try:
        places = (str(absolute(Path(song))), os.path.realpath(song))
    except (OSError, ValueError):
        return None
    return next((row for place in places if (row := store.listed(place))), None)


def _exists(song: str) -> bool:
    try:
        return Path(song).exists()
    except PermissionError:
        return True  # whoever opens it says what is wrong
    except (OSError, ValueError):
        return False


def _why_unheard(store: Store, song: Listed) -> str:
    problem = store.problem(song.content)
    if problem is None:
        return f"'{song.title}' is not heard yet: run 'segue catalogue' on its folder once more."
    fault = told_problem(song.path, problem)
    return f"'{song.title}' could not be heard when the catalogue was made. {fault}"


def _heard(found: FoundSong, edge: Literal["start", "end"]) -> EdgeTraits:
    return side_of(hear(read_song(found.path, edge=edge), cache=user_facts_cache()))


def _of_title(store: Store, title: str) -> Listed:
    everything = list(store.all_listed())
    if not everything:
        raise OptionError("the catalogue has no songs yet: run 'segue catalogue FOLDER' on some.")
    same = [row for row in everything if row.title.casefold() == title.casefold()]
    if not same:
        hint = did_you_mean(title, [row.title for row in everything])
        told = "is neither a file nor a title in the catalogue: name one of its songs."
        raise OptionError(f"'{printable(title)}' {told}{hint}")
    if len({row.content for row in same}) > 1:
        paths = ", ".join(printable(row.path) for row in same)
        raise OptionError(f"'{title}' is the title of {len(same)} songs: name one of {paths}.")
    return next((row for row in same if not state_of(row)), same[0])


Where = Literal["after", "before"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """A song that could be next to another.

    Parameters
    ----------
    title, path : str
        Of a content at several paths, one that is there.
    state : {'', 'gone', 'changed'}
        Whether its file is no more where it was, or another than what was heard.
    cost : float
        What it takes to get across, 0..1.
    step : Step
        From the song that ends to the one that starts.
    reasons : tuple of str
        Key, tempo, level, and how one stops and the other starts.
    """

    title: str
    path: str
    state: State
    cost: float
    side: EdgeTraits
    step: Step
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbourhood:
    """A song and what could be next to it.

    Parameters
    ----------
    where : {'after', 'before'}
        Whether the others follow it or precede it.
    is_anew : bool
        Whether it changed since the catalogue heard it, and was heard anew.
    neighbours : tuple of Neighbour
        Cheapest first, without the song itself, its copies, and what it was before a change.
    """

    title: str
    path: str
    where: Where
    is_anew: bool
    side: EdgeTraits
    neighbours: tuple[Neighbour, ...]


def neighbours_of(
    store: Store, song: str, *, where: Where = "after", n_best: int = DEFAULT_TOP
) -> Neighbourhood:
    """The songs of a catalogue that suit best after or before a song.

    Parameters
    ----------
    song : str
        A path, which need not be in the catalogue, or a title in it.

    Raises
    ------
    SegueError
        If there is no such song, more than one of that title, or a folder is not one song.
    """
    listed: dict[str, list[Listed]] = {}
    for row in store.all_listed():
        listed.setdefault(row.content, []).append(row)
    asked = asked_for(store, song, "end" if where == "after" else "start")
    songs = all_songs(store)
    others = songs.starts if where == "after" else songs.ends
    found = _costs_beside(asked.side, others, where)
    order = [int(n) for n in np.argsort(found, kind="stable")]
    nearest = [n for n in order if songs.contents[n] not in asked.contents][:n_best]
    return Neighbourhood(
        title=asked.title,
        path=asked.path,
        where=where,
        is_anew=asked.is_anew,
        side=asked.side,
        neighbours=tuple(
            _neighbour(listed[songs.contents[n]], float(found[n]), asked.side, others[n], where)
            for n in nearest
        ),
    )


def _costs_beside(side: EdgeTraits, others: Sequence[EdgeTraits], where: Where) -> Floats:
    ends, starts = ([side], others) if where == "after" else (others, [side])
    return costs(columns_of(ends, ENDINGS), columns_of(starts, OPENINGS)).ravel()


def _neighbour(
    rows: list[Listed], cost: float, own: EdgeTraits, other: EdgeTraits, where: Where
) -> Neighbour:
    states = [state_of(row) for row in rows]
    song, state = next(
        (pair for pair in zip(rows, states, strict=True) if not pair[1]), (rows[0], states[0])
    )
    pair = (own, other) if where == "after" else (other, own)
    return Neighbour(
        title=song.title,
        path=song.path,
        state=state,
        cost=cost,
        side=other,
        step=step_between(*pair),
        reasons=reasons(*pair),
    )
