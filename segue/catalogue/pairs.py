"""Every song against every other: the cheapest to follow each, in blocks of an array.

A block is a few hundred ends against all starts, so that memory grows with the number
of songs and not with its square.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.catalogue.columns import Columns, all_songs, columns_of
from segue.catalogue.suiting import (
    ENDINGS,
    FREE_TIME_COST,
    FULL_LEVEL_LU,
    FULL_TEMPO_OCTAVES,
    LEVEL_SHARE,
    OPENINGS,
    OTHER_PULSE_COST,
    TEMPO_SHARE,
    table_of_kinds,
)
from segue.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from segue.catalogue.store import Store

DEFAULT_TOP: Final = 20  # followers that are kept of each song
_BLOCK_CELLS: Final = 2_000_000
"""Costs in one block; 16 MB."""


def costs(ends: Columns, starts: Columns) -> npt.NDArray[np.float64]:
    """Cost of going from each end to each start, as `suiting.cost`.

    Returns
    -------
    ndarray, shape (n_ends, n_starts), float64
    """
    table = np.array(table_of_kinds(), dtype=np.float64)[:, starts.codes]
    return _costs(table, ends, starts, slice(None))


def best_pairs(
    ends: Columns, starts: Columns, *, n_best: int = DEFAULT_TOP
) -> Iterator[tuple[int, npt.NDArray[np.int64], npt.NDArray[np.float64]]]:
    """For each song those that follow it at the least cost, itself left out.

    Parameters
    ----------
    ends, starts : Columns
        Of the same songs.
    n_best : int
        How many for each.

    Yields
    ------
    followers : ndarray, shape (at most n_best,), int64
        Cheapest first; of equal ones the first in the catalogue.
    costs : ndarray, shape (at most n_best,), float64
    """
    n_songs = len(ends.codes)
    n_best = min(n_best, n_songs - 1)
    if n_best < 1:
        return
    table = np.array(table_of_kinds(), dtype=np.float64)[:, starts.codes]
    n_rows = max(1, _BLOCK_CELLS // n_songs)
    for first in range(0, n_songs, n_rows):
        block = _costs(table, ends, starts, slice(first, first + n_rows))
        own = np.arange(len(block))
        block[own, first + own] = np.inf
        limits = np.partition(block, n_best - 1, axis=1)[:, n_best - 1]
        for row, limit in enumerate(limits):
            near = np.flatnonzero(block[row] <= limit)
            kept = near[np.argsort(block[row, near], kind="stable")[:n_best]]
            yield first + row, kept, block[row, kept]


def write_all_pairs(store: Store, *, n_best: int = DEFAULT_TOP) -> int:
    """Write the best followers of every song to the table `follows` of a catalogue.

    Returns
    -------
    int
        How many songs were compared.

    Raises
    ------
    OptionError
        If there are no two songs to compare.
    """
    songs = all_songs(store)
    if len(songs.contents) < 2:  # noqa: PLR2004 - a pair
        raise OptionError(
            "the catalogue has no two songs to compare: run 'segue catalogue FOLDER' on some."
        )
    ends, starts = columns_of(songs.ends, ENDINGS), columns_of(songs.starts, OPENINGS)
    store.keep_follows(
        (songs.contents[song], rank, songs.contents[follower], cost)
        for song, followers, found in best_pairs(ends, starts, n_best=n_best)
        for rank, (follower, cost) in enumerate(
            zip(followers.tolist(), found.tolist(), strict=True), start=1
        )
    )
    return len(songs.contents)


def _costs(
    table: npt.NDArray[np.float64], ends: Columns, starts: Columns, rows: slice
) -> npt.NDArray[np.float64]:
    """Cost of some ends to all starts, summed in the order of `suiting.cost`."""
    step = np.abs(starts.tempo_octaves - ends.tempo_octaves[rows, None])
    other = np.abs(step - 1.0)
    rest = np.empty_like(step)
    _ease(other, rest)
    other += OTHER_PULSE_COST
    _ease(step, rest)
    np.minimum(step, other, out=step)
    np.minimum(step, 1.0, out=step)
    step[np.isnan(step)] = FREE_TIME_COST
    step *= TEMPO_SHARE
    total = table[ends.codes[rows]]
    total += step
    level = np.abs(starts.loudness_lufs - ends.loudness_lufs[rows, None], out=step)
    level /= FULL_LEVEL_LU
    np.minimum(level, 1.0, out=level)
    level *= LEVEL_SHARE
    total += level
    return total


def _ease(step: npt.NDArray[np.float64], rest: npt.NDArray[np.float64]) -> None:
    """`suiting.tempo_cost` of steps in octaves, in their place; `rest` is room to reckon in."""
    step /= FULL_TEMPO_OCTAVES
    np.minimum(step, 1.0, out=step)
    np.multiply(step, 2.0, out=rest)
    np.subtract(3.0, rest, out=rest)
    step *= step
    step *= rest
