"""What all songs of a catalogue are compared by, as columns."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from segue.catalogue.suiting import ENDINGS, OPENINGS, EdgeTraits, key_index
from segue.music.key import Key

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    from segue.analysis.facts import EdgeFacts
    from segue.catalogue.store import Store
    from segue.music.key import Mode

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

    codes: npt.NDArray[np.int64]
    tempo_octaves: npt.NDArray[np.float64]
    loudness_lufs: npt.NDArray[np.float64]

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
    found = {edge: dict(_rows(store, edge)) for edge in ("end", "start")}
    for sides in found.values():
        for content in [content for content, side in sides.items() if side.is_silent]:
            del sides[content]
    contents = tuple(content for content in found["end"] if content in found["start"])
    return AllSongs(
        contents=contents,
        ends=tuple(found["end"][content] for content in contents),
        starts=tuple(found["start"][content] for content in contents),
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


def kinds_of(edge: str) -> tuple[str, ...]:
    """The kinds that an edge may be of."""
    return ENDINGS if edge == "end" else OPENINGS


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
