"""Hearing in the background: one process that hears the ends of songs, the wanted ones first.

Each end is heard and made ready to be seen and played.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import Clip, Edge, outline_bytes
from segue.audio.read import read_song
from segue.desk.background import Background, done_by
from segue.errors import SegueError
from segue.heard.hearing import heard_edge
from segue.workers.processes import Processes

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.catalogue.scan import FoundSong
    from segue.heard import HeardEdge


COLUMNS_A_SECOND: Final = 40
"""Of a waveform: on a wide screen two or three to a dot; a few thousand for an end."""
_NAME_BYTES: Final = 12  # 96 bits: no two sounds of a session share a name


@dataclass(frozen=True, slots=True, kw_only=True)
class EndToOpen:
    """Which end, and where its sound is to be laid."""

    path: Path
    edge: Edge
    scratch: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedEnd:
    """An end that was heard.

    Parameters
    ----------
    heard : HeardEdge
        As the planner sees it.
    outline : bytes
        Lowest and highest value of each column in turn, as signed bytes.
    sound : Path
        What a browser plays: the end as FLAC, from its first frame.
    """

    heard: HeardEdge
    outline: bytes
    sound: Path

    @property
    def facts(self) -> EdgeFacts:
        """What was heard of it."""
        return self.heard.facts


def opened_end(task: EndToOpen) -> OpenedEnd:
    """Hear an end, draw its outline once and lay its sound where it can be served.

    Raises
    ------
    SegueError
        If the song cannot be read.
    """
    song = read_song(task.path, edge=task.edge)
    mix = song.mix
    n_columns = max(1, min(mix.n_frames, round(COLUMNS_A_SECOND * mix.duration_s)))
    return OpenedEnd(
        heard=heard_edge(song),
        outline=outline_bytes(mix.samples, n_columns).tobytes(),
        sound=_laid_down(task, mix),
    )


def _laid_down(task: EndToOpen, mix: Clip) -> Path:
    digest = blake2b(digest_size=_NAME_BYTES)
    digest.update(f"{os.fspath(task.path)}\n{task.edge}\n".encode(errors="surrogateescape"))
    digest.update(np.ascontiguousarray(mix.samples[::997]).data)
    place = task.scratch / f"{digest.hexdigest()}.flac"
    if not place.exists():
        peak = max(1.0, float(np.abs(mix.samples).max(initial=0.0)))
        part = place.with_suffix(".part")
        soundfile.write(
            part, mix.samples / np.float32(peak), mix.rate_hz, subtype="PCM_16", format="FLAC",
            compression_level=0.0,
        )  # fmt: skip
        part.replace(place)
    return place


ENDS: Final[tuple[Edge, Edge]] = ("start", "end")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEnd:
    """What became of hearing one end.

    Parameters
    ----------
    stamp : str
        Of the song's files when it was heard.
    problem : str
        Why it could not, in one sentence.
    """

    stamp: str
    opened: OpenedEnd | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One end that is to be heard."""

    song: FoundSong
    edge: Edge
    stamp: str


@dataclass(slots=True, kw_only=True)
class Ears(Background):
    """What was heard so far, and a thread that hears the rest.

    Parameters
    ----------
    scratch : Path
        Where the sound of opened ends is kept.
    tell : callable
        Called from the thread after every end.
    """

    scratch: Path
    tell: Callable[[], None]
    heard: dict[tuple[Path, Edge], HeardEnd] = field(default_factory=dict)
    _waiting: list[Wanted] = field(default_factory=list)
    _under_way: Wanted | None = None

    def known(self, song: FoundSong, edge: Edge) -> HeardEnd | None:
        """What was heard of an end as the song is now; None while it is not heard."""
        found = self.heard.get((song.path, edge))
        return found if found is not None and found.stamp == stamp_of(song) else None

    def want(self, song: FoundSong, *edges: Edge, at_once: bool = False) -> None:
        """Have ends heard that are not known yet.

        Parameters
        ----------
        at_once : bool
            Before everything else that waits.
        """
        stamp = stamp_of(song)
        with self._news:
            for edge in edges or ENDS:
                wanted = Wanted(song=song, edge=edge, stamp=stamp)
                known = self.heard.get((song.path, edge))
                if known is not None and known.stamp == stamp:
                    continue
                if wanted == self._under_way:
                    continue
                if wanted in self._waiting:
                    if not at_once:
                        continue
                    self._waiting.remove(wanted)
                self._waiting.insert(0 if at_once else len(self._waiting), wanted)
            self._news.notify_all()

    def _work(self) -> None:
        with Processes(1) as process:
            while (wanted := self._awaited(self._next)) is not None:
                task = EndToOpen(path=wanted.song.path, edge=wanted.edge, scratch=self.scratch)
                try:
                    opened = done_by(process, opened_end, task)
                    known = HeardEnd(stamp=wanted.stamp, opened=opened)
                except SegueError as error:
                    known = HeardEnd(stamp=wanted.stamp, problem=str(error))
                with self._news:
                    self.heard[wanted.song.path, wanted.edge] = known
                    self._under_way = None
                if not self._is_closing:
                    self.tell()

    def _next(self) -> Wanted | None:
        self._under_way = self._waiting.pop(0) if self._waiting else None
        return self._under_way

    def _let_go(self) -> None:
        self._waiting.clear()


def stamp_of(song: FoundSong) -> str:
    """Names, sizes and times of a song's files; empty where they are gone."""
    try:
        return song.stamp()
    except OSError:
        return ""
