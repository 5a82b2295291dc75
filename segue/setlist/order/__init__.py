"""What order of an evening costs least, and what would be better: what an order costs, as tables.

The cost of an order is the sum over its neighbours, plus the sum over songs at their places, plus
`THREE_IN_A_KEY` for every three in a row that stay in one key. What a pin forbids costs infinity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.facts import EdgeFacts, have_keys, have_pulses
from segue.music.tonal_space import key_distance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Flags, Floats
    from segue.setlist.set_list import SetSong

KEY_WEIGHT: Final = 1.0
"""For the farthest keys (distance 1)."""
UNKNOWN_DISTANCE: Final = 0.5
"""Of two songs of which one has no key, as of drums alone: neither near nor far."""
TEMPO_WEIGHT: Final = 1.5
"""For an octave of tempo; half-time and double-time count as the same tempo plus `HALF_TIME`."""
HALF_TIME: Final = 0.2
"""What taking the beat in half or in double costs a room that is dancing."""
ENERGY_WEIGHT: Final = 0.3
"""For one step of energy away from the curve at that place, squared steps."""
DROP_WEIGHT: Final = 0.5
"""For a big drop of tempo right after a peak."""
THREE_IN_A_KEY: Final = 0.5
"""For every three in a row that stay in one key."""
SAME_VOICE_WEIGHT: Final = 0.1
"""For two songs in a row by one singer, so that breaks are spread."""

PEAK_ENERGY: Final = 4
"""From this energy on a song is a peak. Common practice, no source, like all weights here."""
BIG_DROP_RATIO: Final = 0.75
"""A tempo below this share of the one before is a big drop."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderProblem:
    """The costs of all orders of n songs.

    Parameters
    ----------
    pair_cost : ndarray, shape (n, n)
        Of song i right before song j; infinite where that may not be.
    place_cost : ndarray, shape (n, n)
        Of song i at place k, from 0; infinite where that may not be.
    same_key : ndarray of bool, shape (n, n)
        Whether song i ends in the key in which song j starts.
    """

    pair_cost: Floats
    place_cost: Floats
    same_key: Flags

    @property
    def n_songs(self) -> int:
        """How many songs there are."""
        return len(self.pair_cost)

    def cost(self, order: Sequence[int]) -> float:
        """Of one order; infinite where it breaks a pin."""
        at = np.asarray(order)
        stays = self.same_key[at[:-1], at[1:]]
        return float(
            self.pair_cost[at[:-1], at[1:]].sum()
            + self.place_cost[at, np.arange(len(at))].sum()
            + THREE_IN_A_KEY * np.count_nonzero(stays[:-1] & stays[1:])
        )


Edges = tuple["EdgeFacts", "EdgeFacts"]
"""Start and end of a song."""


def order_problem(songs: Sequence[SetSong], edges: Sequence[Edges]) -> OrderProblem:
    """Costs and pins of a set.

    Parameters
    ----------
    edges : sequence of (EdgeFacts, EdgeFacts)
        Start and end of each.
    """
    n = len(songs)
    pair = np.full((n, n), math.inf)
    same = np.zeros((n, n), dtype=bool)
    for i, (_, end) in enumerate(edges):
        for j, (start, _) in enumerate(edges):
            same[i, j] = i != j and have_keys(end, start) and end.key.key == start.key.key
            if i != j:
                pair[i, j] = neighbour_cost(songs[i], end, songs[j], start)
    place = np.array([[_place_cost(song, k, n) for k in range(n)] for song in songs])
    return pinned(OrderProblem(pair_cost=pair, place_cost=place, same_key=same), songs)


def pinned(problem: OrderProblem, songs: Sequence[SetSong]) -> OrderProblem:
    """The problem with infinite cost for what the songs' pins forbid."""
    pair, place = problem.pair_cost.copy(), problem.place_cost.copy()
    by_title = {song.title: n for n, song in enumerate(songs)}
    for j, song in enumerate(songs):
        for title in song.not_beside:
            i = by_title[title]
            pair[i, j] = pair[j, i] = math.inf
        if song.after is not None:
            i = by_title[song.after]
            kept = pair[i, j]
            pair[:, j] = pair[i, :] = math.inf
            pair[i, j] = kept
            place[j, 0] = place[i, -1] = math.inf
        pinned_at = _pinned_places(song, len(songs))
        place[j] = [c if k in pinned_at else math.inf for k, c in enumerate(place[j])]
    for name, k in (("opens", 0), ("closes", -1)):
        if any(getattr(song, name) for song in songs):
            others = [j for j, song in enumerate(songs) if not getattr(song, name)]
            place[others, k] = math.inf
    return OrderProblem(pair_cost=pair, place_cost=place, same_key=problem.same_key)


def neighbour_cost(old: SetSong, end: EdgeFacts, new: SetSong, start: EdgeFacts) -> float:
    """Of one song right before another."""
    ratio = start.pulse.tempo_bpm / end.pulse.tempo_bpm if have_pulses(end, start) else 1.0
    is_told = have_keys(end, start)
    distance = key_distance(end.key.key, start.key.key) if is_told else UNKNOWN_DISTANCE
    cost = KEY_WEIGHT * distance + tempo_cost(ratio)
    cost += DROP_WEIGHT * is_drop_after_peak(old, ratio)
    if old.voice is not None and old.voice == new.voice:
        cost += SAME_VOICE_WEIGHT
    return cost


def tempo_cost(ratio: float) -> float:
    """Of a change of tempo, half-time and double-time nearly the same.

    Examples
    --------
    >>> tempo_cost(1.0), tempo_cost(2.0), round(tempo_cost(1.25), 3)
    (0.0, 0.2, 0.483)
    """
    octaves = abs(math.log2(ratio))
    folded = abs(octaves - 1.0)
    return min(TEMPO_WEIGHT * octaves, TEMPO_WEIGHT * folded + HALF_TIME)


def is_drop_after_peak(old: SetSong, tempo_ratio: float) -> bool:
    """Whether the tempo falls far right after a song of high energy."""
    return (old.energy or 0) >= PEAK_ENERGY and tempo_ratio < BIG_DROP_RATIO


def energy_at(place: int, n_songs: int) -> float:
    """The energy that a set has at a place, 1..5: a strong opener, a valley, the peak at the end.

    Common practice, no source: start at 4, fall to 2.5 a third of the way in, rise to 5.

    Examples
    --------
    >>> [round(energy_at(k, 7), 1) for k in range(7)]
    [4.0, 3.2, 2.5, 3.1, 3.8, 4.4, 5.0]
    """
    along = place / max(n_songs - 1, 1)
    return float(np.interp(along, (0.0, 1 / 3, 1.0), (4.0, 2.5, 5.0)))


def _place_cost(song: SetSong, place: int, n_songs: int) -> float:
    if song.energy is None:
        return 0.0
    return ENERGY_WEIGHT * (song.energy - energy_at(place, n_songs)) ** 2


def _pinned_places(song: SetSong, n_songs: int) -> set[int]:
    places = set(range(n_songs))
    if song.opens:
        places &= {0}
    if song.closes:
        places &= {n_songs - 1}
    if song.at is not None:
        places &= {song.at - 1}
    return places
