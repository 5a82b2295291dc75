"""Both edges of every song, heard side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.audio import read_song
from segue.heard.facts_cache import user_facts_cache
from segue.heard.hearing import edge_digest, hear, sound_digest

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge, Role
    from segue.setlist.set_list import SetSong
    from segue.workers import Workers


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEdge:
    """One edge of a song.

    Parameters
    ----------
    roles : frozenset of Role
        Of its stems; empty for a mix.
    digest : str
        Of its sound, what was said of it, and the listener.
    """

    facts: EdgeFacts
    roles: frozenset[Role]
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEdges:
    """Both edges of a song, or why there are none."""

    start: HeardEdge | None = None
    end: HeardEdge | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SongToHear:
    """A song to be heard."""

    song: SetSong
    edge_s: float
    rate_hz: int
    cached: bool


def heard_songs(
    songs: Sequence[SetSong],
    workers: Workers,
    *,
    edge_s: float,
    rate_hz: int,
    cached: bool,
    progress: Callable[[str], None],
) -> tuple[HeardEdges, ...]:
    """Hear all songs of a set.

    Parameters
    ----------
    edge_s : float
        How much of each edge is read.
    cached : bool
        Whether what was heard before counts.
    progress : callable
        Told after each song.

    Returns
    -------
    tuple of HeardEdges
        In the order of the songs; one that cannot be read has a problem instead of edges.
    """
    found = [HeardEdges()] * len(songs)
    tasks = [SongToHear(song=song, edge_s=edge_s, rate_hz=rate_hz, cached=cached) for song in songs]
    for outcome in workers.outcomes(hear_song, tasks):
        found[outcome.index] = outcome.result or HeardEdges(problem=outcome.problem)
        progress(f"heard {songs[outcome.index].title}")
    return tuple(found)


def hear_song(task: SongToHear) -> HeardEdges:
    """Hear both edges of one song; a task for workers."""
    return HeardEdges(start=_heard(task, "start"), end=_heard(task, "end"))


def _heard(task: SongToHear, edge: Edge) -> HeardEdge:
    read = read_song(task.song.path, edge=edge, edge_s=task.edge_s, rate_hz=task.rate_hz)
    sound = replace(read, title=task.song.title)
    said = task.song.overrides
    cache = user_facts_cache() if task.cached else None
    digest = sound_digest(sound)
    return HeardEdge(
        facts=hear(sound, overrides=said, cache=cache, sound=digest),
        roles=frozenset(stem.role for stem in sound.stems if sound.has_stems),
        digest=edge_digest(sound, overrides=said, sound=digest),
    )
