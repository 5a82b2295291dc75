"""Every song of an evening counted once, and neighbours counted so that they fit.

A song stands in two joins, and the band counts it one way: the level at which its end goes on to
the next song must be that at which its start was come to. So the levels of all songs are chosen
together, by the costs of `shared_count`: the cheapest way from the first song to the last.
"""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING, Final

from segue.analysis.shared_count import apart_cost, counted_at, level_cost, levels_of_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import EdgeFacts

    SongFacts = tuple[EdgeFacts | None, EdgeFacts | None]

_ONE_TEMPO: Final = math.log2(1.1)  # octaves: edges of one song nearer than this have one tempo
_WHY: Final = "so that the song has one counting in both its joins"


def counted_evening(
    songs: Sequence[SongFacts], joined: Sequence[bool] | None = None
) -> tuple[SongFacts, ...]:
    """The facts of all songs, each counted alike at both its edges.

    Parameters
    ----------
    songs : sequence of (EdgeFacts or None, EdgeFacts or None)
        Start and end of each song, in the order of the set, as they were heard.
    joined : sequence of bool, optional
        Whether each song but the last goes over into the next; across silence no tempi have to
        fit. None joins no two.

    Returns
    -------
    tuple of (EdgeFacts or None, EdgeFacts or None)
        Where a song's two edges have one tempo at some levels, they are counted at such levels;
        where they have not, each is counted for itself.
    """
    if not songs:
        return ()
    ways = [_levels(*song) for song in songs]
    costs = {levels: _song_cost(songs[0], levels) for levels in ways[0]}
    before: list[dict[tuple[float, float], tuple[float, float]]] = []
    for number in range(1, len(songs)):
        old, new = songs[number - 1], songs[number]
        goes_over = joined is not None and joined[number - 1]
        cheapest, came_from = {}, {}
        for levels in ways[number]:
            by_way = {
                way: cost + (_join_cost(old, way, new, levels) if goes_over else 0.0)
                for way, cost in costs.items()
            }
            best = min(by_way, key=by_way.__getitem__)
            cheapest[levels] = by_way[best] + _song_cost(new, levels)
            came_from[levels] = best
        before.append(came_from)
        costs = cheapest
    chosen = [min(costs, key=costs.__getitem__)]
    for came_from in reversed(before):
        chosen.insert(0, came_from[chosen[0]])
    return tuple(_counted(song, levels) for song, levels in zip(songs, chosen, strict=True))


def _levels(start: EdgeFacts | None, end: EdgeFacts | None) -> list[tuple[float, float]]:
    """Pairs of levels for the two edges of a song; those at which both have one tempo, if any."""
    both = list(product(_edge_levels(start), _edge_levels(end)))
    if start is None or end is None or not (start.pulse.is_known and end.pulse.is_known):
        return both
    bpm = start.pulse.tempo_bpm, end.pulse.tempo_bpm
    alike = [
        (first, last)
        for first, last in both
        if abs(math.log2(bpm[0] * first / (bpm[1] * last))) < _ONE_TEMPO
    ]
    return alike or both


def _edge_levels(edge: EdgeFacts | None) -> tuple[float, ...]:
    return (1.0,) if edge is None or not edge.pulse.is_known else levels_of_count(edge.pulse)


def _song_cost(song: SongFacts, levels: tuple[float, float]) -> float:
    return sum(
        level_cost(edge.pulse, level)
        for edge, level in zip(song, levels, strict=True)
        if edge is not None and edge.pulse.is_known
    )


def _join_cost(
    old: SongFacts, old_levels: tuple[float, float], new: SongFacts, new_levels: tuple[float, float]
) -> float:
    end, start = old[1], new[0]
    if end is None or start is None or not (end.pulse.is_known and start.pulse.is_known):
        return 0.0
    return apart_cost(
        end.pulse.tempo_bpm * old_levels[1], start.pulse.tempo_bpm * new_levels[0]
    )  # fmt: skip


def _counted(song: SongFacts, levels: tuple[float, float]) -> SongFacts:
    start, end = (
        None if edge is None else counted_at(edge, level, why=_WHY)
        for edge, level in zip(song, levels, strict=True)
    )
    return start, end
