"""What the server of a desk knows: its folder, its ears, what is being made, who is to be told."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from segue.analysis.shared_count import counted_together
from segue.audio.stems_folder import title_of
from segue.audio.write_song_toml import said_of
from segue.audition.limits import ClientLimits, Limits, RequestRefusalError
from segue.audition.messages import Live
from segue.catalogue.filling import short_problem, title_at
from segue.catalogue.scan import FoundSong, song_at, songs_under
from segue.desk.ears import Ears
from segue.desk.end_view import EndView, end_view
from segue.desk.maker import Maker
from segue.desk.own_folder import NOT_FOUND, OwnFolder
from segue.desk.sketcher import RoughSound, Sketcher, rough_order
from segue.desk.version_maker import VersionMaker
from segue.errors import printable
from segue.job.request import Request
from segue.plan.heard_words import key_words, tempo_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge
    from segue.desk.carrying import PollHost

RUNS, EVENINGS, PACKS, TAKES = "segues", "evenings", "packs", "takes"
"""Subfolders for what is made; no songs are looked for there."""
_ODD_NAME: Final = "has a name that is no plain text: rename it, and it can be picked."
DESK_LIMITS: Final = Limits(requests_a_second=60.0, burst=300.0, body_bytes=1 << 16)
"""One page of one person asks for much at once, and nobody else can ask at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRules:
    """What the commands take from the user's own configuration, for every run.

    Parameters
    ----------
    own_recipes : Path or None
        A folder of the user's own recipes; it need not exist.
    """

    own_recipes: Path | None = None
    own_weights: Mapping[str, float] | None = None
    n_workers: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderSong:
    """A song in the list.

    Parameters
    ----------
    name : str
        Below the folder; empty where it cannot be asked for by its name.
    start, end : str
        Key and tempo of its two ends; empty while they are not heard.
    """

    name: str
    title: str
    problem: str
    is_folder: bool
    start: str = ""
    end: str = ""

    @property
    def is_heard(self) -> bool:
        """Whether there is something to tell."""
        return bool(self.problem or (self.start and self.end))


@dataclass(slots=True)
class House:
    """The state of a desk that is served.

    Parameters
    ----------
    token : str
        In the address of every page.
    scratch : Path
        A temporary folder for sound that is only played.
    """

    folder: OwnFolder
    token: str
    scratch: Path
    rules: HouseRules = field(default_factory=HouseRules)
    clients: ClientLimits = field(default_factory=lambda: ClientLimits(DESK_LIMITS))
    live: Live = field(default_factory=Live)
    ears: Ears = field(init=False)
    sketcher: Sketcher = field(default_factory=Sketcher)
    maker: Maker = field(init=False)
    version_maker: VersionMaker = field(init=False)
    poll_host: PollHost | None = None
    versions: dict[str, int] = field(default_factory=dict)
    packs: dict[str, Path] = field(default_factory=dict)
    writing: asyncio.Lock = field(default_factory=asyncio.Lock)
    _loop: asyncio.AbstractEventLoop | None = None

    def __post_init__(self) -> None:
        self.ears = Ears(scratch=self.scratch, tell=lambda: self.tell("songs"))
        self.maker = Maker(
            n_workers=self.rules.n_workers, tell=lambda: self.tell("making"), rough=self._rough
        )
        self.version_maker = VersionMaker(tell=lambda: self.tell("versions"))

    def open(self) -> None:
        """Begin to hear and to make; from the server's own loop."""
        self._loop = asyncio.get_running_loop()
        self.ears.start()
        self.sketcher.start()
        self.maker.start()
        self.version_maker.start()
        for song in self.songs():
            self.ears.want(song)

    def close(self) -> None:
        """Begin nothing more."""
        self.ears.close()
        self.maker.close()
        self.version_maker.close()
        self.sketcher.close()
        if self.poll_host is not None:
            self.poll_host.stop()

    def _rough(self, request: Request) -> RoughSound | None:
        """A rough first option of what is to be made, if both songs are known."""
        wanted = rough_order(self.ears, replace(request, out=self.scratch))
        return None if wanted is None else self.sketcher.rough(wanted)

    def tell(self, topic: str) -> None:
        """Wake every open page, from any thread."""
        self.versions[topic] = self.versions.get(topic, 0) + 1
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self.live.changed)

    def songs(self) -> Iterator[FoundSong]:
        """Songs of the folder that can be picked."""
        return (song for song in self._all_songs() if self.folder.can_be_asked_for(song.path))

    def _all_songs(self) -> Iterator[FoundSong]:
        """Songs of the folder; what is linked from elsewhere is passed over."""
        ours = tuple(self.folder.root / name for name in (RUNS, EVENINGS, PACKS, TAKES))
        for song in songs_under([self.folder.root], closed=lambda _problem: None):
            is_made = any(song.path.is_relative_to(place) for place in ours)
            if not is_made and all(map(self.folder.holds, song.files)):
                yield song

    @property
    def has_songs(self) -> bool:
        """Whether the folder holds any song."""
        return next(iter(self._all_songs()), None) is not None

    def song(self, name: str) -> FoundSong:
        """The song of a name.

        Raises
        ------
        RequestRefusalError
            If there is none in the folder.
        """
        path = self.folder.inside(name)
        try:
            found = song_at(path)
        except OSError:
            found = None
        if found is None or not all(map(self.folder.holds, found.files)):
            raise RequestRefusalError("That song is not in the folder any more.", status=NOT_FOUND)
        return found

    def rows(self) -> list[FolderSong]:
        """Every song with what was heard of it; what is new is heard from now on."""
        return [self._row(song) for song in self._all_songs()]

    def _row(self, song: FoundSong) -> FolderSong:
        if not self.folder.can_be_asked_for(song.path):
            title = printable(song.path.name)
            return FolderSong(name="", title=title, problem=_ODD_NAME, is_folder=song.is_folder)
        self.ears.want(song)
        known = {edge: self.ears.known(song, edge) for edge in ("start", "end")}
        told: dict[str, str] = {}
        problem, title = "", ""
        for edge, heard in known.items():
            if heard is None:
                continue
            problem = problem or short_problem(str(song.path), heard.problem)
            if heard.opened is not None:
                told[edge] = short_words(heard.opened.facts)
                title = heard.opened.facts.title
        return FolderSong(
            name=self.folder.name_of(song.path),
            title=title or (title_of(song.path.stem) if problem else title_at(song)),
            start=told.get("start", ""),
            end=told.get("end", ""),
            problem=problem,
            is_folder=song.is_folder,
        )

    def ends(self, old: str, new: str) -> list[EndView | EndWaiting]:
        """The end of the old song and the start of the new one, as far as they are picked.

        Raises
        ------
        RequestRefusalError
            If one of them is not there.
        SegueError
            If what is written beside one is faulty.
        """
        asked: list[tuple[str, Edge]] = [(old, "end"), (new, "start")]
        picked = [(self.song(name), edge) for name, edge in asked if name]
        found = [self.ears.known(song, edge) for song, edge in picked]
        for song, edge in reversed(picked):
            self.ears.want(song, edge, at_once=True)
        facts = [h.opened.facts for h in found if h is not None and h.opened is not None]
        if len(facts) == len(asked):
            facts = list(counted_together(facts[0], facts[1]))
            self._prepare(old, new)
        views: list[EndView | EndWaiting] = []
        for (song, edge), heard in zip(picked, found, strict=True):
            if heard is None or heard.opened is None:
                problem = "" if heard is None else short_problem(str(song.path), heard.problem)
                views.append(EndWaiting(title=title_at(song), edge=edge, problem=problem))
            else:
                views.append(end_view(heard.opened, facts.pop(0), said_of(song.path, edge)))
        return views

    def request(self, old: str, new: str, out: Path) -> Request:
        """For segues of two songs, by the user's own configuration and nothing else wished.

        Raises
        ------
        RequestRefusalError
            If one of them is not there.
        """
        return Request(
            outgoing=self.song(old).path,
            incoming=self.song(new).path,
            out=out,
            own_recipes=self.rules.own_recipes,
            own_weights=self.rules.own_weights,
            n_workers=self.rules.n_workers,
        )

    def _prepare(self, old: str, new: str) -> None:
        """Have the rough option of two songs made ahead, as it is where nothing is wished."""
        wanted = rough_order(self.ears, self.request(old, new, self.scratch))
        if wanted is not None:
            self.sketcher.prepare(wanted)


@dataclass(frozen=True, slots=True, kw_only=True)
class EndWaiting:
    """An end that is not heard yet, or cannot be."""

    title: str
    edge: Edge
    problem: str = ""


def short_words(facts: EdgeFacts) -> str:
    """Key and tempo in a few words."""
    return f"{key_words(facts.key)}, {tempo_words(facts.pulse)}"
