"""A run as the desk shows it: its options, what the script plays and draws, what is known of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from segue.audition.page import PageView
from segue.audition.page_values import WayView, run_values, way_values, way_views
from segue.desk.house import RUNS
from segue.job.version import UNDONE_NAME
from segue.plan.heard_words import keys_sentence
from segue.runfolder import read_document
from segue.runfolder.run_document import DOCUMENT_NAME

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.house import House
    from segue.runfolder import RunDocument


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """A run folder.

    Parameters
    ----------
    name : str
        Below the desk's folder.
    values : dict
        For the script; times in seconds of each option.
    has_undone : bool
        Whether a version was taken back that can be brought back.
    """

    name: str
    document: RunDocument
    ways: tuple[WayView, ...]
    values: dict[str, object]
    has_undone: bool = False

    @property
    def relation(self) -> str:
        """How the two keys lie to each other."""
        return keys_sentence(self.document.outgoing, self.document.incoming)

    @property
    def chosen(self) -> int | None:
        """Rank of what the band chose."""
        return None if self.document.choice is None else self.document.choice.rank


def run_view(house: House, name: str) -> RunView:
    """The run of a name.

    Raises
    ------
    RequestRefusalError
        If the name leads out of the folder.
    SegueError
        If it is no run folder that can be read.
    """
    folder = house.folder.inside(name)
    path = folder / DOCUMENT_NAME
    mark: tuple[int, ...] = ()
    if path.is_file():  # a file that is written anew is another one, whatever the clock says
        status = path.stat()
        mark = status.st_ino, status.st_size, status.st_mtime_ns
    return replace(_read(folder, name, mark), has_undone=(folder / UNDONE_NAME).is_dir())


@lru_cache(maxsize=8)
def _read(folder: Path, name: str, _mark: tuple[int, ...]) -> RunView:
    document = read_document(folder)
    view = PageView(document=document, records=document.candidates)
    # the desk calls an option by its place on the page
    ways = [{**way, "key": n} for n, way in enumerate(way_values(folder, view))]
    return RunView(
        name=name,
        document=document,
        ways=way_views(view),
        values={**run_values(view), "ways": ways},
    )


def earlier_runs(house: House, pair: str) -> tuple[str, ...]:
    """Runs that were made for two songs before, the latest first.

    Parameters
    ----------
    pair : str
        What a run of the two is called; a number may follow, which tells the order in which they
        were made: the clock may have been put back.
    """
    folder = house.folder.root / RUNS
    if not folder.is_dir() or not house.folder.holds(folder):
        return ()
    found = [
        path
        for path in folder.iterdir()
        if (path.name == pair or path.name.removeprefix(f"{pair} ").isdecimal())
        and (path / DOCUMENT_NAME).is_file()
        and house.folder.holds(path)
    ]
    found.sort(key=lambda path: int(path.name.removeprefix(pair).strip() or 1), reverse=True)
    return tuple(house.folder.name_of(path) for path in found)
