"""Every song against every other, as columns: the cheapest to follow each, in blocks of an array.

A block is a few hundred ends against all starts, so that memory grows with the number
of songs and not with its square.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.catalogue.suiting import (
    ENDINGS,
    FREE_TIME_COST,
    FULL_LEVEL_LU,
    FULL_TEMPO_OCTAVES,
    LEVEL_SHARE,
    OPENINGS,
    OTHER_PULSE_COST,
    TEMPO_SHARE,
    EdgeTraits,
    key_index,
    table_of_kinds,
)
from segue.errors import OptionError
from segue.music.key import Key, Mode

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.analysis.facts import EdgeFacts
    from segue.arrays import Floats, Ints
    from segue.catalogue.store import Store

    _Row = tuple[str, int | None, Mode | None, float | None, float, str]


_QUERY = """
SELECT content, tonic, mode, tempo_bpm, loudness_lufs, kind
FROM edges WHERE edge = ? AND content IN (SELECT content FROM songs) ORDER BY content
"""
_QUERY_ONE = """
SELECT content, tonic, mode, tempo_bpm, loudness_lufs, kind
FROM edges WHERE edge = ? AND content = ?
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Edges of one kind; entry n of each array is song n.

    Parameters
    ----------
    codes : ndarray, shape (n_songs,), int64
        Row or column of `suiting.table_of_kinds`.
    tempo_octaves : ndarray, shape (n_songs,), float64
        Logarithm to base 2 of BPM; NaN in free time.
    loudness_lufs : ndarray, shape (n_songs,), float64
    """

    codes: Ints
    tempo_octaves: Floats
    loudness_lufs: Floats

    def __post_init__(self) -> None:
        for column in fields(self):
            view = getattr(self, column.name).view()
            view.flags.writeable = False
            object.__setattr__(self, column.name, view)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AllSongs:
    """Both edges of every content of a catalogue, by content."""

    contents: tuple[str, ...]
    ends: tuple[EdgeTraits, ...]
    starts: tuple[EdgeTraits, ...]


def all_songs(store: Store) -> AllSongs:
    """Both edges of every content that a song in the catalogue has.

    Returns
    -------
    AllSongs
        A content at two paths is there once; one with an edge without any sound is left out.
    """
    ends, starts = (
        {content: side for content, side in _rows(store, edge) if not side.is_silent}
        for edge in ("end", "start")
    )
    contents = tuple(content for content in ends if content in starts)
    return AllSongs(
        contents=contents,
        ends=tuple(ends[content] for content in contents),
        starts=tuple(starts[content] for content in contents),
    )


def columns_of(sides: Sequence[EdgeTraits], kinds: Sequence[str]) -> Columns:
    """Columns of edges.

    Parameters
    ----------
    kinds : sequence of str
        `ENDINGS` or `OPENINGS`.
    """
    codes = [key_index(side.key) * len(kinds) + kinds.index(side.kind) for side in sides]
    return Columns(
        codes=np.array(codes, dtype=np.int64),
        tempo_octaves=np.array([side.tempo_octaves for side in sides], dtype=np.float64),
        loudness_lufs=np.array([side.loudness_lufs for side in sides], dtype=np.float64),
    )


def side_of(facts: EdgeFacts) -> EdgeTraits:
    """What an edge that was heard brings to a comparison."""
    join = facts.ending or facts.opening
    return EdgeTraits(
        key=facts.key.known_key,
        tempo_bpm=facts.pulse.known_bpm,
        loudness_lufs=facts.level.loudness_lufs,
        kind=OPENINGS[0] if join is None else join.kind,
    )


def side_in(store: Store, content: str, edge: str) -> EdgeTraits | None:
    """What an edge of a content of the catalogue brings; None if it was not heard."""
    rows = store.database.execute(_QUERY_ONE, (edge, content))
    return next((_side(row)[1] for row in rows), None)


def _rows(store: Store, edge: str) -> Iterator[tuple[str, EdgeTraits]]:
    return (_side(row) for row in store.database.execute(_QUERY, (edge,)))


def _side(row: _Row) -> tuple[str, EdgeTraits]:
    content, tonic, mode, tempo_bpm, loudness_lufs, kind = row
    side = EdgeTraits(
        key=None if tonic is None or mode is None else Key(tonic=tonic, mode=mode),
        tempo_bpm=tempo_bpm,
        loudness_lufs=loudness_lufs,
        kind=kind,
    )
    return content, side


DEFAULT_TOP: Final = 20  # followers that are kept of each song
_BLOCK_CELLS: Final = 2_000_000
"""Costs in one block; 16 MB."""


def costs(ends: Columns, starts: Columns) -> Floats:
    """Cost of going from each end to each start, 0..1.

    Returns
    -------
    ndarray, shape (n_ends, n_starts), float64
    """
    table = np.array(table_of_kinds(), dtype=np.float64)[:, starts.codes]
    return _costs(table, ends, starts, slice(None))


def best_pairs(
    ends: Columns, starts: Columns, *, n_best: int = DEFAULT_TOP
) -> Iterator[tuple[int, Ints, Floats]]:
    """For each song those that follow it at the least cost, itself left out.

    Parameters
    ----------
    ends, starts : Columns
        Of the same songs.

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

    Gives how many songs were compared.

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


def _costs(table: Floats, ends: Columns, starts: Columns, rows: slice) -> Floats:
    """Cost of some ends to all starts.

    Half and double tempo count as near.
    """
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


def _ease(step: Floats, rest: Floats) -> None:
    """What steps of tempo in octaves cost, in their place; `rest` is room to reckon in.

    It rises slowly at first, as a few per cent are hardly noticed, and all the way to
    half an octave: 3x^2 - 2x^3, where x is the share of it.
    """
    step /= FULL_TEMPO_OCTAVES
    np.minimum(step, 1.0, out=step)
    np.multiply(step, 2.0, out=rest)
    np.subtract(3.0, rest, out=rest)
    step *= step
    step *= rest
