"""Hearing in the background: one process that hears the ends of songs, the wanted ones first."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from segue.desk.open_end import EndToOpen, OpenedEnd, opened_end
from segue.workers.processes import Processes
from segue.workers.work import Outcome

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from segue.audio.clip import Edge
    from segue.catalogue.scan import FoundSong

ENDS: Final[tuple[Edge, Edge]] = ("start", "end")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEnd:
    """What became of hearing one end.

    Parameters
    ----------
    stamp : str
        Of the song's files when it was heard.
    opened : OpenedEnd or None
        None where it could not be read.
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


@dataclass(slots=True)
class Ears:
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
    _news: threading.Condition = field(default_factory=threading.Condition)
    _is_closing: bool = False
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to hear."""
        self._thread = threading.Thread(target=self._work, name="ears", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Hear nothing more; what is under way is given up."""
        with self._news:
            self._is_closing = True
            self._waiting.clear()
            self._news.notify_all()

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
            while (wanted := self._next()) is not None:
                task = EndToOpen(path=wanted.song.path, edge=wanted.edge, scratch=self.scratch)
                try:
                    (outcome,) = list(process.outcomes(opened_end, [task]))
                except Exception as error:  # noqa: BLE001 - told on its row, and the next is heard
                    outcome = Outcome(index=0, problem=f"This went wrong here ({error!r}).")
                known = HeardEnd(
                    stamp=wanted.stamp, opened=outcome.result, problem=outcome.problem or ""
                )
                with self._news:
                    self.heard[wanted.song.path, wanted.edge] = known
                    self._under_way = None
                if not self._is_closing:
                    self.tell()

    def _next(self) -> Wanted | None:
        with self._news:
            while not self._waiting and not self._is_closing:
                self._news.wait()
            self._under_way = None if self._is_closing else self._waiting.pop(0)
            return self._under_way


def stamp_of(song: FoundSong) -> str:
    """Names, sizes and times of a song's files; empty where they are gone."""
    try:
        return song.stamp()
    except OSError:
        return ""
