"""Filling a catalogue: every content under some folders is heard once.

It may be stopped at any moment; what was heard until then is kept, and the next run
goes on from there. A song that cannot be read is kept with its sentence and left
alone until its files change, or Segue's listening does.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.audio import read_song
from segue.audio.read import DEFAULT_EDGE_S
from segue.audio.stems_folder import read_folder, title_of
from segue.catalogue.scan import FoundSong, absolute, songs_under
from segue.catalogue.store import Listed, Store
from segue.errors import InputError, SegueError, disk_faults, printable, text_of
from segue.heard.hearing import hear, listener_digest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from segue.analysis.facts import EdgeFacts
    from segue.workers import Workers


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """What `build_catalogue` is asked to do.

    Parameters
    ----------
    edge_s : float
        How much of both ends of each song is read.
    """

    folders: tuple[Path, ...]
    edge_s: float = DEFAULT_EDGE_S

    @property
    def listener(self) -> str:
        """What the facts depend on besides the song."""
        return f"{listener_digest()} {self.edge_s:g} s"


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueReport:
    """What a run did.

    Parameters
    ----------
    n_songs, n_in_file : int
        Songs found under the folders; songs that the catalogue holds now, of other folders too.
    n_heard : int
        Contents that were heard in this run.
    n_same, n_known : int
        Songs whose content another song of this run has; songs that were heard before.
    n_moved, n_removed : int
        Paths that were in the catalogue and are no more; moved, where their
        content is at another path now.
    n_keyless, n_free : int
        Songs of which an edge has no key, or no pulse, that was heard.
    stem_folders : tuple of str
        Folders that were taken for one song of stems.
    problems : tuple of str
        A sentence for each song, or folder of songs, that cannot be used.
    """

    n_songs: int
    n_in_file: int
    n_heard: int
    n_same: int
    n_known: int
    n_moved: int
    n_removed: int
    n_keyless: int
    n_free: int
    stem_folders: tuple[str, ...]
    problems: tuple[str, ...]


NOTHING: Final = CatalogueReport(
    n_songs=0, n_in_file=0, n_heard=0, n_same=0, n_known=0, n_moved=0, n_removed=0,
    n_keyless=0, n_free=0, stem_folders=(), problems=(),
)  # fmt: skip
"""Of folders without songs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A song to be heard, as it is sent to a worker."""

    path: Path
    content: str
    edge_s: float


@dataclass(slots=True)
class _Run:
    """What is under way; the one state that changes."""

    seen: set[str] = field(default_factory=set)
    same: set[str] = field(default_factory=set)
    stem_folders: list[str] = field(default_factory=list)
    under_way: dict[int, Asked] = field(default_factory=dict)
    unreadable: dict[str, str] = field(default_factory=dict)
    closed: dict[Path, str] = field(default_factory=dict)
    n_heard: int = 0

    def cannot_look(self, error: InputError) -> None:
        """Keep what is wrong with a path that may not be looked at."""
        self.closed[error.path] = str(error)


def build_catalogue(
    store: Store, asked: Build, workers: Workers, *, tell: Callable[[str], None]
) -> CatalogueReport:
    """Bring a catalogue up to date with some folders.

    Parameters
    ----------
    tell : callable
        Called with the name of each song when it is dealt with.

    Raises
    ------
    InputError
        If one of the folders does not exist, or may not be listed itself.
    """
    store.begin()
    run = _Run()
    listener = asked.listener
    for outcome in workers.outcomes(hear_both_edges, _to_hear(store, asked, run, tell)):
        song = run.under_way.pop(outcome.index)
        if outcome.result is None:
            problem = short_problem(str(song.path), outcome.problem or "")
            store.keep_problem(song.content, listener, problem)
        else:
            store.keep_heard(song.content, listener, outcome.result)
            run.n_heard += 1
        tell(printable(song.path.name))
    n_moved, n_removed = _forget_gone(store, asked, run)
    return _report(store, run, n_moved, n_removed)


def _report(store: Store, run: _Run, n_moved: int, n_removed: int) -> CatalogueReport:
    lacking = [(key, tempo) for path, key, tempo in store.lacking() if path in run.seen]
    broken = {found[0]: told_problem(*found) for found in store.problems() if found[0] in run.seen}
    unusable = run.unreadable | broken
    same = run.same - unusable.keys()
    return CatalogueReport(
        n_songs=len(run.seen),
        n_in_file=store.n_listed(),
        n_heard=run.n_heard,
        n_same=len(same),
        n_known=len(run.seen) - run.n_heard - len(same) - len(unusable),
        n_moved=n_moved,
        n_removed=n_removed,
        n_keyless=sum(key for key, _ in lacking),
        n_free=sum(tempo for _, tempo in lacking),
        stem_folders=tuple(run.stem_folders),
        problems=(*run.closed.values(), *unusable.values()),
    )


def hear_both_edges(song: Asked) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts of the start and the end of a song; the work of one task."""
    start, end = (
        hear(read_song(song.path, edge=edge, edge_s=song.edge_s)) for edge in ("start", "end")
    )
    return start, end


def _to_hear(store: Store, asked: Build, run: _Run, tell: Callable[[str], None]) -> Iterator[Asked]:
    """List all songs, and yield one for each content that nobody has heard yet."""
    listener = asked.listener
    contents: set[str] = set()
    n_asked = 0
    for found in songs_under(asked.folders, closed=run.cannot_look):
        path, shown = str(found.path), printable(found.path.name)
        run.seen.add(path)
        if found.is_folder:
            run.stem_folders.append(text_of(path))
        try:
            content = _content(store, found)
        except SegueError as error:
            run.unreadable[path] = str(error)
            if not isinstance(error.__cause__, PermissionError):  # which may be given back
                store.forget(path)
            tell(shown)
            continue
        is_again = content in contents
        contents.add(content)
        if is_again:
            run.same.add(path)
        if is_again or store.is_heard(content, listener):
            tell(shown)
            continue
        song = Asked(path=found.path, content=content, edge_s=asked.edge_s)
        run.under_way[n_asked] = song
        n_asked += 1
        yield song


def _content(store: Store, found: FoundSong) -> str:
    """Digest of a song's content, read only if its files were touched since the last time."""
    with disk_faults(found.path, "cannot be read ({})."):
        stamp = found.stamp()
        known = store.listed(str(found.path))
        if known is not None and known.stamp == stamp:
            return known.content
        content = found.content()
    song = Listed(path=str(found.path), title=title_at(found), stamp=stamp, content=content)
    store.list_song(song)
    return content


def title_at(found: FoundSong) -> str:
    """Title of a song on disk, also of one that cannot be heard."""
    try:
        return read_folder(found.path).title
    except SegueError:
        return title_of(found.path.name)  # whoever hears it says what is wrong


def _forget_gone(store: Store, asked: Build, run: _Run) -> tuple[int, int]:
    """Drop what was under the folders and is no more; how many moved, how many went.

    What lies where nobody may look now is kept: it may be there still.
    """
    roots = [absolute(folder) for folder in asked.folders]
    everything = list(store.all_listed())
    here = {song.content for song in everything if song.path in run.seen}
    gone = [
        song
        for song in everything
        if song.path not in run.seen and _is_under(song, roots) and not _is_under(song, run.closed)
    ]
    for song in gone:
        store.forget(song.path)
    n_moved = sum(song.content in here for song in gone)
    return n_moved, len(gone) - n_moved


def _is_under(song: Listed, folders: Iterable[Path]) -> bool:
    return any(Path(song.path).is_relative_to(folder) for folder in folders)


def short_problem(path: str, problem: str) -> str:
    """The sentence of a song that cannot be heard, as it is kept: true wherever the song lies.

    Returns
    -------
    str
        Without the song's path; what lies below it begins with './'.
    """
    named = printable(path)
    if problem.startswith(f"{named}{os.sep}"):
        return f"./{problem.removeprefix(f'{named}{os.sep}')}"
    return problem.removeprefix(f"{named}: ")


def told_problem(path: str, problem: str) -> str:
    """The sentence of a song that cannot be heard, with its path."""
    if problem.startswith("./"):
        return f"{printable(path)}{os.sep}{problem.removeprefix('./')}"
    return f"{printable(path)}: {problem}"
