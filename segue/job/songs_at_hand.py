"""The songs that a process has read for a run, and what was made of them.

The steps of a run are done by processes that keep the two songs, moved, thinned and taken apart,
for as long as the run goes on. The sound itself they share: whoever reads a song first leaves it in
a file of the unfinished run folder, and all look at that. So it is decoded once, lies in memory
once, and only those parts that are being looked at.

Songs at the rate of drafts are kept in the user's cache folder too, so that a draft need not decode
them again: one file an edge, named by the digest of its sound, with 16 bits a sample. The few
latest stay.
"""

from __future__ import annotations

import contextlib
import io
import json
import mmap
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, Literal, cast
from zipfile import BadZipFile

import numpy as np

from segue.audio import read_song
from segue.audio.adapters import resampled
from segue.audio.clip import Clip, Edge, SongEdge, Stem
from segue.audio.instrument import Instrument, read_instrument
from segue.errors import text_of
from segue.files.whole_file import age_s, write_whole
from segue.heard.facts_cache import user_facts_cache
from segue.heard.hearing import sound_digest

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy.typing as npt

    from segue.job.request import Request
    from segue.plan.plan import StretchEngine
    from segue.render.song_layer import Kits


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
        self._looked_at: mmap.mmap | None = None

    @cached_property
    def as_it_is(self) -> SongEdge:
        """Its edge, as it was read.

        Raises
        ------
        SegueError
            If it cannot be read.
        """
        place = self.place
        if (shared := self._shared()) is not None:
            return shared
        song = read_song(place.path, edge=place.edge, edge_s=place.edge_s, rate_hz=place.rate_hz)
        song = song if place.title is None else replace(song, title=place.title)
        share_song(place, song)
        shared = self._shared()
        return (
            song
            if shared is None
            else replace(
                song,
                stems=tuple(
                    replace(stem, clip=other.clip)
                    for stem, other in zip(song.stems, shared.stems, strict=True)
                ),
            )
        )

    def _shared(self) -> SongEdge | None:
        """The edge as another process of the run has read it; None where none has."""
        folder, edge = self.place.run / SHARED_NAME, self.place.edge
        try:
            told = json.loads((folder / f"{edge}.json").read_bytes())
            with (folder / f"{edge}.raw").open("rb") as file:
                self._looked_at = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        except OSError:
            return None
        shape = (len(told["roles"]), -1, 2)
        song = _song(told, np.frombuffer(self._looked_at, dtype=np.float32).reshape(shape))
        return replace(song, path=self.place.path)

    def look_away(self) -> None:
        """Give the memory of what is shared back to the system, which has it in a file."""
        if self._looked_at is not None:
            self._looked_at.madvise(mmap.MADV_DONTNEED)

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
        from segue.render.transpose import transposed  # heavy, and few songs are moved

        return transposed(song, place.shift_semitones, engine=place.stretch_engine)

    @cached_property
    def thinned(self) -> SongEdge:
        """The same at a low rate."""
        thin = _at_rate(self.in_its_key, QUICK_RATE_HZ)
        self.look_away()
        return thin

    @cached_property
    def for_drafts(self) -> SongEdge:
        """The same at the rate of drafts."""
        song = self.in_its_key
        return _at_rate(song, min(DRAFT_RATE_HZ, song.rate_hz))


def _at_rate(song: SongEdge, rate_hz: int) -> SongEdge:
    stems = tuple(replace(s, clip=resampled(s.clip, rate_hz)) for s in song.stems)
    return replace(song, stems=stems)


SHARED_NAME: Final = "songs"
"""Subfolder of an unfinished run folder."""
CAN_LOOK_AWAY: Final = hasattr(mmap, "MADV_DONTNEED")  # not where a file in use cannot be removed


@contextmanager
def songs_shared(run: Path) -> Iterator[None]:
    """Let the processes that fill a run folder share its songs for the time of a `with` block.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    place = run / SHARED_NAME
    if CAN_LOOK_AWAY:
        place.mkdir()
    try:
        yield
    finally:
        if CAN_LOOK_AWAY:
            shutil.rmtree(place)


def share_song(place: SongPlace, song: SongEdge) -> None:
    """Leave a song for the other processes of its run, where they share; never a reason to fail."""
    folder = place.run / SHARED_NAME
    if not folder.is_dir():
        return
    part = folder / f"{place.edge} {os.getpid()}"
    with contextlib.suppress(OSError):
        with part.open("wb") as file:
            for stem in song.stems:
                file.write(np.ascontiguousarray(stem.clip.samples).data)
        part.replace(folder / f"{place.edge}.raw")
        part.write_text(json.dumps(_told_of(song)), encoding="utf-8")
        part.replace(folder / f"{place.edge}.json")  # last: whoever finds it finds the sound


_Use = Literal["full", "quick", "draft"]


class SongsAtHand:
    """The songs of one run at a time; those of another are let go when the first is asked for."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kits: dict[_Use, Kits] = {}
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

    def kits(self, use: _Use) -> Kits:
        """The drums of the songs at one of their rates, as far as other renders have found them."""
        from segue.render.song_layer import Kits  # heavy, and who has others render needs none

        return self._kits.setdefault(use, Kits())

    def forget_thinned(self) -> None:
        """Let go of what the quick listens were made from."""
        for song in self._songs.values():
            song.__dict__.pop("thinned", None)
        self._kits.pop("quick", None)

    def look_away(self, *, also_at_drums: bool) -> None:
        """Let go of what can be had again at once: the songs' sound.

        Parameters
        ----------
        also_at_drums : bool
            Also of drums taken out of it: the run's other segues take them from other places.
        """
        from segue.render.separate import percussion_of

        if also_at_drums:
            percussion_of.cache_clear()
        for song in self._songs.values():
            song.look_away()

    def forget(self) -> None:
        """Let go of everything."""
        if self._kits:  # something was rendered
            from segue.render.voiceless import forget_shares

            self.look_away(also_at_drums=True)
            forget_shares()
        self._songs: dict[SongPlace, SongAtHand] = {}
        self._instruments: dict[Path, Instrument] = {}
        self._kits = {}


DRAFTS_NAME: Final = "drafts"
"""Subfolder of the cache folder that is ours to clear."""
MOST_KEPT: Final = 8
"""Edges, of 4 MB a stem; by judgement."""
_FULL_SCALE: Final = 32_000.0  # of 16 bits, a little below their end


def kept_song(folder: Path, name: str) -> SongEdge | None:
    """A song that was kept; None if there is none, or nothing sound.

    Parameters
    ----------
    name : str
        As it was kept under.
    """
    try:
        path = folder / DRAFTS_NAME / f"{name}.npz"
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            told: dict[str, Any] = json.loads(str(kept["told"]))
            sounds = kept["sounds"]
        scale = np.float32(told["peak"] / _FULL_SCALE)
        return _song(told, [np.multiply(sound, scale, dtype=np.float32) for sound in sounds])
    except (OSError, EOFError, ValueError, KeyError, TypeError, AttributeError, BadZipFile):
        return None


def _song(told: dict[str, Any], sounds: Iterable[npt.NDArray[np.float32]]) -> SongEdge:
    """What was told of a song, and its sound, as far as rendering needs it."""
    stems = tuple(
        Stem(
            role=role,
            file="",
            is_backing=is_backing,
            clip=Clip(samples=sound, rate_hz=int(told["rate_hz"]), start_s=float(told["start_s"])),
        )
        for role, is_backing, sound in zip(told["roles"], told["backing"], sounds, strict=True)
    )
    return SongEdge(
        path=Path(told["path"]),
        title=told["title"],
        edge=told["edge"],
        stems=stems,
        duration_s=float(told["duration_s"]),
    )


def keep_song(folder: Path, name: str, song: SongEdge) -> None:
    """Keep a song; never a reason to fail."""
    peak = max(float(np.abs(stem.clip.samples).max(initial=0.0)) for stem in song.stems) or 1.0
    told = {**_told_of(song), "peak": peak}
    scale = np.float32(_FULL_SCALE / peak)
    sounds = [np.rint(stem.clip.samples * scale).astype(np.int16) for stem in song.stems]
    buffer = io.BytesIO()
    np.savez(buffer, told=np.array(json.dumps(told)), sounds=np.stack(sounds))
    place = folder / DRAFTS_NAME
    with contextlib.suppress(OSError):
        place.mkdir(parents=True, exist_ok=True)
        path = place / f"{name}.npz"
        write_whole(path, cast("bytes", buffer.getbuffer()))
        others = [other for other in place.glob("*.npz") if other != path]
        latest = sorted(others, key=lambda other: age_s(other.stat().st_mtime))
        for old in latest[MOST_KEPT - 1 :]:
            old.unlink(missing_ok=True)


def _told_of(song: SongEdge) -> dict[str, Any]:
    return {
        "path": text_of(song.path),
        "title": song.title,
        "edge": song.edge,
        "roles": [stem.role for stem in song.stems],
        "backing": [stem.is_backing for stem in song.stems],
        "rate_hz": song.rate_hz,
        "start_s": song.start_s,
        "duration_s": song.duration_s,
    }


def clear_songs(folder: Path) -> None:
    """Remove all that is kept for drafts."""
    for path in (folder / DRAFTS_NAME).glob("*.npz"):
        with contextlib.suppress(OSError):
            path.unlink()
