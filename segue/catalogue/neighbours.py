"""What could follow a song, or precede it, with the reasons in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from segue.audio import read_song
from segue.catalogue.columns import all_songs, columns_of, kinds_of, side_in, side_of
from segue.catalogue.pairs import DEFAULT_TOP, costs
from segue.catalogue.store import told_problem
from segue.catalogue.suiting import reasons, step_between
from segue.errors import OptionError, did_you_mean
from segue.facts_cache import user_facts_cache
from segue.hearing import hear

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from segue.analysis.facts import EdgeFacts
    from segue.catalogue.columns import AllSongs
    from segue.catalogue.store import Listed, Store
    from segue.catalogue.suiting import Side, Step

Where = Literal["after", "before"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """A song that could be next to another.

    Parameters
    ----------
    title, path : str
    cost : float
        What it takes to get across, 0..1.
    side : Side
        Its own edge at the join.
    step : Step
        From the song that ends to the one that starts.
    reasons : tuple of str
        Key, tempo, level, and how one stops and the other starts.
    """

    title: str
    path: str
    cost: float
    side: Side
    step: Step
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbourhood:
    """A song and what could be next to it.

    Parameters
    ----------
    title, path : str
    where : {'after', 'before'}
        Whether the others follow it or precede it.
    side : Side
        Its own edge at the join.
    neighbours : tuple of Neighbour
        Cheapest first, without the song itself.
    """

    title: str
    path: str
    where: Where
    side: Side
    neighbours: tuple[Neighbour, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """The song that is meant; content '' where it is not in the catalogue."""

    title: str
    path: str
    content: str
    side: Side


def neighbours_of(
    store: Store, song: str, *, where: Where = "after", n_best: int = DEFAULT_TOP
) -> Neighbourhood:
    """The songs of a catalogue that suit best after or before a song.

    Parameters
    ----------
    store : Store
    song : str
        A path, which need not be in the catalogue, or a title in it.
    where : {'after', 'before'}
    n_best : int

    Returns
    -------
    Neighbourhood

    Raises
    ------
    SegueError
        If there is no such song, or more than one of that title.
    """
    listed = {row.content: row for row in reversed(list(store.all_listed()))}
    asked = _asked_for(store, song, "end" if where == "after" else "start")
    songs = all_songs(store)
    found = _costs_beside(asked.side, songs, where)
    order = [int(n) for n in np.argsort(found, kind="stable")]
    others = [n for n in order if songs.contents[n] != asked.content][:n_best]
    return Neighbourhood(
        title=asked.title,
        path=asked.path,
        where=where,
        side=asked.side,
        neighbours=tuple(
            _neighbour(listed[songs.contents[n]], float(found[n]), asked.side, other, where)
            for n, other in ((n, _others(songs, where)[n]) for n in others)
        ),
    )


def _costs_beside(side: Side, songs: AllSongs, where: Where) -> npt.NDArray[np.float64]:
    is_after = where == "after"
    ends = columns_of([side] if is_after else songs.ends, kinds_of("end"))
    starts = columns_of(songs.starts if is_after else [side], kinds_of("start"))
    return costs(ends, starts).ravel()


def _others(songs: AllSongs, where: Where) -> tuple[Side, ...]:
    return songs.starts if where == "after" else songs.ends


def _neighbour(song: Listed, cost: float, own: Side, other: Side, where: Where) -> Neighbour:
    pair = (own, other) if where == "after" else (other, own)
    return Neighbour(
        title=song.title,
        path=song.path,
        cost=cost,
        side=other,
        step=step_between(*pair),
        reasons=reasons(*pair),
    )


def _asked_for(store: Store, song: str, edge: Literal["start", "end"]) -> _Asked:
    from pathlib import Path

    path = Path(song).absolute()
    listed = store.listed(str(path))
    if listed is None and path.exists():
        facts = _heard(path, edge)
        return _Asked(title=facts.title, path=song, content="", side=side_of(facts))
    listed = listed or _of_title(store, song)
    side = side_in(store, listed.content, edge)
    if side is None:
        raise OptionError(_why_unheard(store, listed))
    return _Asked(title=listed.title, path=listed.path, content=listed.content, side=side)


def _why_unheard(store: Store, song: Listed) -> str:
    problem = store.problem(song.content)
    if problem is None:
        return f"'{song.title}' is not heard yet: run 'segue catalogue' on its folder once more."
    fault = told_problem(song.path, problem)
    return f"'{song.title}' could not be heard when the catalogue was made. {fault}"


def _heard(path: Path, edge: Literal["start", "end"]) -> EdgeFacts:
    return hear(read_song(path, edge=edge), cache=user_facts_cache())


def _of_title(store: Store, title: str) -> Listed:
    everything = list(store.all_listed())
    if not everything:
        raise OptionError("the catalogue has no songs yet: run 'segue catalogue FOLDER' on some.")
    same = [row for row in everything if row.title.casefold() == title.casefold()]
    if not same:
        hint = did_you_mean(title, [row.title for row in everything])
        told = "is neither a file nor a title in the catalogue: name one of its songs."
        raise OptionError(f"'{title}' {told}{hint}")
    if len({row.content for row in same}) > 1:
        listed = ", ".join(row.path for row in same)
        raise OptionError(f"'{title}' is the title of {len(same)} songs: name one of {listed}.")
    return same[0]
