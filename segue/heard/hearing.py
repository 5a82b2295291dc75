"""Hearing an edge, unless just that was heard before.

What is heard depends on the sound, on what the musician says, and on the code that
listens. All three are in the key of the cache: the decoded samples rather than a
file's name and time, so that a copy is known and a changed file is not mistaken; and
a digest of our own source and models with the versions of the libraries that
calculate, so that nothing is answered with facts of another estimator.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import blake2b
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.doubts import doubts_about, remarks_on, silent_stems
from segue.audio.clip import Overrides
from segue.audio.read import read_around
from segue.errors import SegueError, text_of
from segue.files.source_digest import source_digest
from segue.heard import HeardEdge
from segue.heard.facts_cache import FactsCache, user_facts_cache

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Clip, SongEdge

LISTENING_PARTS: Final = ("analysis", "audio", "music")
"""Sub-packages that decide what is heard."""
LISTENING_LIBRARIES: Final = ("numpy", "scipy", "numba", "soxr")
_DIGEST_BYTES: Final = 20  # 160 bits: no two sounds share one


def hear(
    song: SongEdge,
    *,
    overrides: Overrides | None = None,
    lead: Clip | None = None,
    cache: FactsCache | None = None,
    sound: str | None = None,
) -> EdgeFacts:
    """All facts of an edge, as `segue.analysis.hear.hear_edge` hears them.

    Parameters
    ----------
    overrides : Overrides, optional
        What the musician says; goes over the song's own notes.
    lead : Clip, optional
        The sung or lead part, where the song itself does not bring it as a stem.
    cache : FactsCache, optional
        Where it looks first, and keeps what it heard.
    sound : str, optional
        `sound_digest` of the song, where it is known already.

    Returns
    -------
    EdgeFacts
        The same with a cache or without, unless the rest of a song was changed and is as long
        as before: of what is not the edge the cache knows the length only.
    """
    from_cache, key = None, ""
    if cache is not None:
        key = edge_digest(song, overrides=overrides, lead=lead, sound=sound)
        from_cache = cache.facts_of(key)
    if from_cache is not None:
        return of_song(from_cache, song)
    from segue.analysis.hear import hear_edge

    is_key_said = (overrides or Overrides()).over(song.notes).key is not None
    rest = () if is_key_said else around(song)
    facts = hear_edge(song, overrides=overrides, lead=lead, around=rest)
    if cache is not None:
        cache.keep(key, facts)
    return facts


def heard_edge(
    song: SongEdge,
    *,
    overrides: Overrides | None = None,
    lead: Clip | None = None,
    cached: bool = True,
    sound: str | None = None,
) -> HeardEdge:
    """An edge as the planner sees it; `cached` as in the user's cache, the rest as for `hear`."""
    sound = sound or sound_digest(song)
    cache = user_facts_cache() if cached else None
    silent = silent_stems(song)
    roles = {s.role for s in song.stems if song.has_stems and s.file not in silent}
    if song.has_backing:  # whether drums are in it, is heard bar by bar
        roles.add("drums")
    return HeardEdge(
        facts=hear(song, overrides=overrides, lead=lead, cache=cache, sound=sound),
        roles=frozenset(roles),
        has_stems=song.has_stems,
        sound=sound,
    )


def around(song: SongEdge) -> tuple[Clip, ...]:
    """Other stretches of the song, where its files are still there to be read."""
    from segue.analysis.tuning import PITCHED_ROLES

    try:
        return read_around(song, roles=PITCHED_ROLES)
    except SegueError:
        return ()


def of_song(facts: EdgeFacts, song: SongEdge) -> EdgeFacts:
    """Facts of the same sound under a song's own name and with its own remarks."""
    doubts = (*remarks_on(song), *doubts_about(facts))
    return replace(facts, file=text_of(song.path), title=song.title, doubts=doubts)


def sound_digest(song: SongEdge) -> str:
    """Digest of what sounds at an edge, stem by stem, and of how many channels that was."""
    digest = blake2b(f"{song.n_file_channels}".encode(), digest_size=_DIGEST_BYTES)
    for stem in song.stems:
        _update(digest, stem.role, stem.clip)
    return digest.hexdigest()


def edge_digest(
    song: SongEdge,
    *,
    overrides: Overrides | None = None,
    lead: Clip | None = None,
    sound: str | None = None,
) -> str:
    """Digest of everything that the facts of an edge depend on.

    Parameters
    ----------
    sound : str, optional
        `sound_digest` of the song, where it is known already.

    Returns
    -------
    str
        Hexadecimal digits; independent of the song's path, title and remarks.
    """
    said = (overrides or Overrides()).over(song.notes)
    digest = blake2b(digest_size=_DIGEST_BYTES)
    parts = [listener_digest(), song.edge, f"{song.duration_s!r}", f"{said!r}"]
    parts += ["backing"] if song.has_backing else []
    digest.update(" ".join((*parts, sound or sound_digest(song))).encode())
    if lead is not None:
        _update(digest, "given lead", lead)
    return digest.hexdigest()


def listener_digest() -> str:
    """Digest of our listening code, its models, and the libraries that it calculates with."""
    return source_digest(LISTENING_PARTS, LISTENING_LIBRARIES)


def _update(digest: blake2b, role: str, clip: Clip) -> None:
    digest.update(f"\n{role} {clip.rate_hz} {clip.start_s!r} {clip.samples.shape}\n".encode())
    digest.update(np.ascontiguousarray(clip.samples).data)
