"""What could follow a song, or precede it, with the reasons in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from segue.catalogue.asked import asked_for, state_of
from segue.catalogue.columns import all_songs, columns_of, kinds_of
from segue.catalogue.pairs import DEFAULT_TOP, costs
from segue.catalogue.suiting import reasons, step_between

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.catalogue.asked import State
    from segue.catalogue.columns import AllSongs
    from segue.catalogue.store import Listed, Store
    from segue.catalogue.suiting import EdgeTraits, Step

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
    side : EdgeTraits
        Its own edge at the join.
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
    side : EdgeTraits
        Its own edge at the join.
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
    where : {'after', 'before'}

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
    found = _costs_beside(asked.side, songs, where)
    order = [int(n) for n in np.argsort(found, kind="stable")]
    others = [n for n in order if songs.contents[n] not in asked.contents][:n_best]
    return Neighbourhood(
        title=asked.title,
        path=asked.path,
        where=where,
        is_anew=asked.is_anew,
        side=asked.side,
        neighbours=tuple(
            _neighbour(listed[songs.contents[n]], float(found[n]), asked.side, other, where)
            for n, other in ((n, _others(songs, where)[n]) for n in others)
        ),
    )


def _costs_beside(side: EdgeTraits, songs: AllSongs, where: Where) -> npt.NDArray[np.float64]:
    is_after = where == "after"
    ends = columns_of([side] if is_after else songs.ends, kinds_of("end"))
    starts = columns_of(songs.starts if is_after else [side], kinds_of("start"))
    return costs(ends, starts).ravel()


def _others(songs: AllSongs, where: Where) -> tuple[EdgeTraits, ...]:
    return songs.starts if where == "after" else songs.ends


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
