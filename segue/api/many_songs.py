"""Many songs: the whole set, and the catalogue of all that there are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from segue.api.main_job import Wishes, tell_nobody
from segue.audio.read import DEFAULT_EDGE_S

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from segue.catalogue import CatalogueReport, Neighbourhood
    from segue.catalogue.neighbours import Where
    from segue.setlist.evening import Evening
    from segue.setlist.set_request import SetRequest


def plan_evening(set_file: str | Path, *, wishes: Wishes | None = None) -> Evening:
    """A whole set, heard and planned and nothing written: order, times, warnings, joins.

    Raises
    ------
    SegueError
        If the set cannot be read, or asks for a recipe that does not exist.
    """
    from segue.setlist.evening_plan import counted_songs, heard_songs, planned_evening
    from segue.workers import open_workers

    wishes = wishes or Wishes()
    request = _set_request(Path(set_file), Path(set_file).parent / "evening", wishes)
    with open_workers(n_processes=wishes.n_workers) as workers:
        heard = heard_songs(request, workers, progress=tell_nobody)
    return planned_evening(request, counted_songs(heard, request.set_list.songs))


def make_evening(
    set_file: str | Path,
    *,
    out: str | Path,
    wishes: Wishes | None = None,
    progress: Callable[[str], None] = tell_nobody,
) -> Evening:
    """A whole set with its segues at every join, each in a run folder of its own.

    Parameters
    ----------
    out : str or Path
        The evening's folder; what is there and still right is kept.

    Returns
    -------
    Evening
        A join that failed has a problem; the others are made.

    Raises
    ------
    SegueError
        If the set cannot be read, or the folder cannot be written.
    """
    from segue.setlist.make_set import made_evening
    from segue.setlist.set_request import evening_writer
    from segue.workers import open_workers

    wishes = wishes or Wishes()
    request = _set_request(Path(set_file), Path(out), wishes)
    with (
        evening_writer(request.out),
        open_workers(n_processes=wishes.n_workers) as workers,
    ):
        evening, _ = made_evening(request, workers, file=None, plan_only=False, progress=progress)
    return evening


def build_catalogue(
    folders: Iterable[str | Path],
    *,
    file: str | Path,
    edge_s: float = DEFAULT_EDGE_S,
    n_workers: int = 1,
    progress: Callable[[str], None] = tell_nobody,
) -> CatalogueReport:
    """Hear both ends of every song under some folders into one file; go on where it was stopped.

    Parameters
    ----------
    file : str or Path
        The catalogue, made if need be.

    Raises
    ------
    SegueError
        If the file is no catalogue or cannot be written.
    """
    from segue.catalogue import Build, open_store
    from segue.catalogue import build_catalogue as build
    from segue.workers import open_workers

    asked = Build(folders=tuple(Path(folder) for folder in folders), edge_s=edge_s)
    with open_workers(n_processes=n_workers) as workers, open_store(Path(file)) as store:
        return build(store, asked, workers, tell=progress)


def neighbours_of(
    song: str | Path, *, file: str | Path, where: Where = "after", n_best: int = 20
) -> Neighbourhood:
    """What of a catalogue could follow a song, or precede it, nearest first, and why.

    Parameters
    ----------
    song : str or Path
        A file, a folder of stems, or a title in the catalogue.

    Raises
    ------
    SegueError
        If there is no such catalogue or song.
    """
    from segue.catalogue import neighbours_of as found
    from segue.catalogue import open_store

    with open_store(Path(file), must_exist=True) as store:
        return found(store, str(song), where=where, n_best=n_best)


def _set_request(set_file: Path, out: Path, wishes: Wishes) -> SetRequest:
    from segue.setlist.set_file import read_set
    from segue.setlist.set_request import SetRequest, check_request

    request = SetRequest(set_list=read_set(set_file), out=out, **wishes.terms)
    check_request(request)
    return request
