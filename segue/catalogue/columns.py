"""What all songs of a catalogue are compared by, as columns."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from segue.catalogue.suiting import ENDINGS, LEAST_PULSE, OPENINGS, Side, key_index
from segue.music.key import Key

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.analysis.facts import EdgeFacts
    from segue.catalogue.store import Store

_QUERY = """
SELECT content, tonic, mode, tempo_bpm, tempo_confidence, loudness_lufs, kind
FROM edges WHERE edge = ? AND content IN (SELECT content FROM songs) ORDER BY content
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
    ends: tuple[Side, ...]
    starts: tuple[Side, ...]


def all_songs(store: Store) -> AllSongs:
    """Both edges of every content that a song in the catalogue has.

    Parameters
    ----------
    store : Store

    Returns
    -------
    AllSongs
        A content at two paths is there once.
    """
    found = {edge: dict(_rows(store, edge)) for edge in ("end", "start")}
    contents = tuple(content for content in found["end"] if content in found["start"])
    return AllSongs(
        contents=contents,
        ends=tuple(found["end"][content] for content in contents),
        starts=tuple(found["start"][content] for content in contents),
    )


def columns_of(sides: Sequence[Side], kinds: Sequence[str]) -> Columns:
    """Columns of edges.

    Parameters
    ----------
    sides : sequence of Side
    kinds : sequence of str
        `ENDINGS` or `OPENINGS`.

    Returns
    -------
    Columns
    """
    codes = [key_index(side.key) * len(kinds) + kinds.index(side.kind) for side in sides]
    return Columns(
        codes=np.array(codes, dtype=np.int64),
        tempo_octaves=np.array([side.tempo_octaves for side in sides], dtype=np.float64),
        loudness_lufs=np.array([side.loudness_lufs for side in sides], dtype=np.float64),
    )


def side_of(facts: EdgeFacts) -> Side:
    """What an edge that was heard brings to a comparison."""
    join = facts.ending or facts.opening
    return Side(
        key=facts.key.key,
        tempo_bpm=facts.pulse.tempo_bpm,
        has_pulse=facts.pulse.confidence >= LEAST_PULSE,
        loudness_lufs=facts.level.loudness_lufs,
        kind=OPENINGS[0] if join is None else join.kind,
    )


def kinds_of(edge: str) -> tuple[str, ...]:
    """The kinds that an edge may be of."""
    return ENDINGS if edge == "end" else OPENINGS


def _rows(store: Store, edge: str) -> list[tuple[str, Side]]:
    return [
        (
            content,
            Side(
                key=Key(tonic=tonic, mode=mode),
                tempo_bpm=tempo_bpm,
                has_pulse=confidence >= LEAST_PULSE,
                loudness_lufs=loudness_lufs,
                kind=kind,
            ),
        )
        for content, tonic, mode, tempo_bpm, confidence, loudness_lufs, kind in (
            store.database.execute(_QUERY, (edge,))
        )
    ]
