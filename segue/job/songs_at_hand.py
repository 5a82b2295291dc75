"""The songs that a process has read for a run, and what was made of them.

The steps of a run are done by processes that share nothing: each reads the two songs
itself, and keeps them, moved, thinned and taken apart, for as long as the run goes on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from threading import Lock
from typing import TYPE_CHECKING, Final

from segue.audio import read_song
from segue.audio.adapters import resampled
from segue.audio.instrument import Instrument, read_instrument
from segue.heard.facts_cache import user_facts_cache
from segue.heard.hearing import sound_digest
from segue.job.draft_songs import keep_song, kept_song
from segue.render.hits import Kits
from segue.render.separate import percussion_of
from segue.render.transpose import transposed
from segue.render.voiceless import forget_shares

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audio.clip import Edge, SongEdge
    from segue.job.request import Request
    from segue.plan.plan import StretchEngine

QUICK_RATE_HZ: Final = 12_000
"""Rate of the quick listen: about a quarter of the cost of the full one. On 10 or 11 recipes each
of five demo pairs the two orders agree with rank correlations of 0.75 to 0.98, and 13 of the 15
recipes taken are the same; what is taken scores 0.002 less in the mean than the best."""


DRAFT_RATE_HZ: Final = 24_000
"""Rate of drafts: what lies above 12 kHz is left out. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SongPlace:
    """Which song it is, in which run, and how it is read.

    Parameters
    ----------
    run : Path
        The folder that is being filled: tells the songs of one run from those of another.
    """

    run: Path
    path: Path
    title: str | None
    edge: Edge
    edge_s: float
    rate_hz: int
    shift_semitones: int
    stretch_engine: StretchEngine


def song_place(run: Path, request: Request, edge: Edge) -> SongPlace:
    """Where the song that ends, or the one that starts, is found."""
    is_end = edge == "end"
    return SongPlace(
        run=run,
        path=request.outgoing if is_end else request.incoming,
        title=request.titles[0 if is_end else 1],
        edge=edge,
        edge_s=request.edge_s,
        rate_hz=request.rate_hz,
        shift_semitones=0 if is_end else request.shift_b,
        stretch_engine=request.stretch_engine,
    )


class SongAtHand:
    """One song: read when it is first wanted, and everything else made of it once."""

    def __init__(self, place: SongPlace) -> None:
        self.place = place

    @cached_property
    def as_it_is(self) -> SongEdge:
        """Its edge, as it was read.

        Raises
        ------
        SegueError
            If it cannot be read.
        """
        place = self.place
        song = read_song(place.path, edge=place.edge, edge_s=place.edge_s, rate_hz=place.rate_hz)
        return song if place.title is None else replace(song, title=place.title)

    @cached_property
    def sound(self) -> str:
        """Digest of its sound."""
        return sound_digest(self.as_it_is)

    @cached_property
    def in_its_key(self) -> SongEdge:
        """The edge in the key that it is moved to."""
        place, song = self.place, self.as_it_is
        if not place.shift_semitones:
            return song
        return transposed(song, place.shift_semitones, engine=place.stretch_engine)

    @cached_property
    def thinned(self) -> SongEdge:
        """The same at a low rate."""
        return _at_rate(self.in_its_key, QUICK_RATE_HZ)

    @cached_property
    def for_drafts(self) -> SongEdge:
        """The same at the rate of drafts."""
        song = self.in_its_key
        return _at_rate(song, min(DRAFT_RATE_HZ, song.rate_hz))


def _at_rate(song: SongEdge, rate_hz: int) -> SongEdge:
    stems = tuple(replace(s, clip=resampled(s.clip, rate_hz)) for s in song.stems)
    return replace(song, stems=stems)


class SongsAtHand:
    """The songs of one run at a time; those of another are let go when the first is asked for."""

    def __init__(self) -> None:
        self._lock = Lock()
        self.forget()

    def song(self, place: SongPlace) -> SongAtHand:
        """A song of a run."""
        with self._lock:
            if any(known.run != place.run for known in self._songs):
                self.forget()
            return self._songs.setdefault(place, SongAtHand(place))

    def draft_song(self, place: SongPlace, sound: str) -> SongEdge:
        """A song of a run for drafts: from memory, from the cache of this user, or read.

        Parameters
        ----------
        sound : str
            Digest of its sound, by which it is kept.

        Raises
        ------
        SegueError
            If it cannot be read.
        """
        song = self.song(place)
        if "for_drafts" in song.__dict__:
            return song.for_drafts
        folder = user_facts_cache().folder
        name = f"{sound}-{place.shift_semitones:+d}-{place.stretch_engine}"
        kept = kept_song(folder, name) if "as_it_is" not in song.__dict__ else None
        if kept is None:
            keep_song(folder, name, song.for_drafts)
            return song.for_drafts
        song.__dict__["for_drafts"] = kept
        return kept

    def instrument(self, path: Path) -> Instrument:
        """A sound of the user's own.

        Raises
        ------
        SegueError
            If it cannot be read.
        """
        if path not in self._instruments:
            self._instruments[path] = read_instrument(path)
        return self._instruments[path]

    def forget_thinned(self) -> None:
        """Let go of what the quick listens were made from."""
        for song in self._songs.values():
            if song.__dict__.pop("thinned", None) is not None:
                self.thin_kits = Kits()

    def forget(self) -> None:
        """Let go of everything."""
        self._songs: dict[SongPlace, SongAtHand] = {}
        self._instruments: dict[Path, Instrument] = {}
        self.kits, self.thin_kits, self.draft_kits = Kits(), Kits(), Kits()
        percussion_of.cache_clear()
        forget_shares()
