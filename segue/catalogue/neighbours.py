"""What could follow a song, or precede it, with the reasons in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from segue.audio import read_song
from segue.catalogue.columns import all_songs, columns_of, kinds_of, side_of
from segue.catalogue.pairs import DEFAULT_TOP, costs
from segue.catalogue.suiting import reasons
from segue.errors import OptionError, did_you_mean
from segue.facts_cache import user_facts_cache
from segue.hearing import hear

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from segue.analysis.facts import EdgeFacts
    from segue.catalogue.columns import AllSongs
    from segue.catalogue.store import Listed, Store
    from segue.catalogue.suiting import Side

Where = Literal["after", "before"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """A song that could be next to another.

    Parameters
    ----------
    title, path : str
    cost : float
        What it takes to get across, 0..1.
    reasons : tuple of str
        Key, tempo, level, and how one stops and the other starts.
    """

    title: str
    path: str
    cost: float
    reasons: tuple[str, ...]


def neighbours_of(
    store: Store, song: str, *, where: Where = "after", n_best: int = DEFAULT_TOP
) -> tuple[Neighbour, ...]:
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
    tuple of Neighbour
        Cheapest first, without the song itself.

    Raises
    ------
    SegueError
        If there is no such song, or more than one of that title.
    """
    listed = {row.content: row for row in reversed(list(store.all_listed()))}
    own_content, side = _asked_for(store, song, "end" if where == "after" else "start")
    songs = all_songs(store)
    found = _costs_beside(side, songs, where)
    order = [int(n) for n in np.argsort(found, kind="stable") if songs.contents[n] != own_content]
    return tuple(
        _neighbour(listed[songs.contents[n]], float(found[n]), _pair(side, songs, n, where))
        for n in order[:n_best]
    )


def _costs_beside(side: Side, songs: AllSongs, where: Where) -> npt.NDArray[np.float64]:
    is_after = where == "after"
    ends = columns_of([side] if is_after else songs.ends, kinds_of("end"))
    starts = columns_of(songs.starts if is_after else [side], kinds_of("start"))
    return costs(ends, starts).ravel()


def _pair(side: Side, songs: AllSongs, n: int, where: Where) -> tuple[Side, Side]:
    return (side, songs.starts[n]) if where == "after" else (songs.ends[n], side)


def _neighbour(song: Listed, cost: float, pair: tuple[Side, Side]) -> Neighbour:
    return Neighbour(title=song.title, path=song.path, cost=cost, reasons=reasons(*pair))


def _asked_for(store: Store, song: str, edge: Literal["start", "end"]) -> tuple[str, Side]:
    """Content and edge of the song that is meant; content '' where it is not in the catalogue."""
    from pathlib import Path

    path = Path(song).absolute()
    listed = store.listed(str(path))
    if listed is None and path.exists():
        return "", side_of(_heard(path, edge))
    listed = listed or _of_title(store, song)
    facts = store.facts(listed, edge)
    if facts is None:
        raise OptionError(
            f"'{listed.title}' could not be heard when the catalogue was made: "
            f"'segue analyse' on {listed.path} says why."
        )
    return listed.content, side_of(facts)


def _heard(path: Path, edge: Literal["start", "end"]) -> EdgeFacts:
    return hear(read_song(path, edge=edge), cache=user_facts_cache())


def _of_title(store: Store, title: str) -> Listed:
    everything = list(store.all_listed())
    same = [row for row in everything if row.title.casefold() == title.casefold()]
    if not same:
        hint = did_you_mean(title, [row.title for row in everything])
        told = "is neither a file nor a title in the catalogue: name one of its songs."
        raise OptionError(f"'{title}' {told}{hint}")
    if len({row.content for row in same}) > 1:
        listed = ", ".join(row.path for row in same)
        raise OptionError(f"'{title}' is the title of {len(same)} songs: name one of {listed}.")
    return same[0]
