"""The main job, end to end: two songs in, a run folder with three ways across out.

This is the only place that knows the order of all steps; each hands its frozen result
to the next. Steps that do not need each other are done side by side.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.audition import write_page
from segue.errors import OptionError, SegueError, did_you_mean
from segue.keeping import levelled, ranked
from segue.plan import Given, all_recipes
from segue.runfolder import RunDocument, check_free, document_text, whole_folder
from segue.runfolder.document import DOCUMENT_NAME
from segue.shortlist import shortlist
from segue.steps import Crossing, Hearing, forget_songs, heard, instruments_of, rendered, tried
from segue.workers import open_workers

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from segue.audio.clip import Edge
    from segue.plan import Recipe
    from segue.request import Request
    from segue.runfolder import CandidateRecord
    from segue.steps import HeardSong
    from segue.workers import Outcome, Workers
    from segue.workers.work import Out

Progress = Callable[[str], None]
"""Called with a few words at the start of each step."""
Songs = tuple["HeardSong", "HeardSong"]

N_STEPS_AROUND: Final = 5
"""Hearing the one song and the other, trying the recipes, rendering, and writing the page."""


def make_segues(request: Request, *, progress: Progress) -> RunDocument:
    """Do the main job.

    Parameters
    ----------
    request : Request
    progress : callable
        Told what is being done.

    Returns
    -------
    RunDocument
        What was written to the run folder.

    Raises
    ------
    SegueError
        If an input cannot be used or the run folder cannot be written.
    """
    check_free(request.out, replace=request.replace)
    shelf = all_recipes(request.recipes, own=request.own_recipes).recipes
    _check_names(request.only, shelf)
    instruments_of(request)  # a sound that cannot be read is told before anything is heard
    # a single way across has nothing to share out: its processes would take longer to start
    n_workers = 1 if len(request.only) == 1 else request.n_workers
    with whole_folder(request.out) as folder, open_workers(n_processes=n_workers) as workers:
        try:
            return _filled(folder, request, shelf, workers, progress)
        finally:
            forget_songs()


def _filled(
    folder: Path,
    request: Request,
    shelf: tuple[Recipe, ...],
    workers: Workers,
    progress: Progress,
) -> RunDocument:
    """The run folder with everything in it."""
    songs = _heard_songs(folder, request, workers, progress)
    chosen = _chosen(folder, request, shelf, songs, workers, progress)
    records = _records(folder, request, chosen, songs, workers, progress)
    old, new = (song.facts for song in songs)
    document = RunDocument(
        schema_version=1,
        segue_version=__version__,
        rate_hz=request.rate_hz,
        outgoing=old,
        incoming=new,
        candidates=ranked(folder, levelled(folder, records, title=f"{old.title} → {new.title}")),
        purpose=request.purpose,
        weights="table" if request.weights is None else "own",
    )
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    progress("writing the page")
    write_page(folder, document)
    return document


def _heard_songs(folder: Path, request: Request, workers: Workers, progress: Progress) -> Songs:
    progress(f"hearing the end of {request.outgoing.name}")
    ends: tuple[Edge, Edge] = ("end", "start")
    steps = [Hearing(run=folder, request=request, edge=edge) for edge in ends]
    heard_songs: dict[int, HeardSong] = {}
    for index, song in _results(workers.outcomes(heard, steps)):
        heard_songs[index] = song
        if len(heard_songs) < len(steps):
            progress(f"hearing the start of {request.incoming.name}")
    return heard_songs[0], heard_songs[1]


def _chosen(
    folder: Path,
    request: Request,
    shelf: tuple[Recipe, ...],
    songs: Songs,
    workers: Workers,
    progress: Progress,
) -> tuple[Recipe, ...]:
    """The recipes that were asked for, or the best of the shelf."""
    if request.only:
        by_name = {recipe.name: recipe for recipe in shelf}
        return tuple(by_name[name] for name in dict.fromkeys(request.only))

    def marks(recipes: Sequence[Recipe]) -> dict[str, float]:
        progress(f"trying {len(recipes)} recipes")
        steps = _crossings(folder, request, recipes, songs)
        return {recipes[n].name: mark for n, mark in _results(workers.outcomes(tried, steps))}

    given = Given(
        talk_s=request.talk_s, outgoing_roles=songs[0].roles, incoming_roles=songs[1].roles
    )
    return shortlist(shelf, (songs[0].facts, songs[1].facts), marks, given)


def _records(
    folder: Path,
    request: Request,
    chosen: Sequence[Recipe],
    songs: Songs,
    workers: Workers,
    progress: Progress,
) -> list[CandidateRecord]:
    """All ways across, rendered and kept, in the order of the recipes."""
    waiting = [f"rendering '{recipe.name}'" for recipe in chosen]
    progress(waiting.pop(0))
    records: dict[int, CandidateRecord] = {}
    steps = _crossings(folder, request, chosen, songs)
    for index, record in _results(workers.outcomes(rendered, steps)):
        records[index] = record
        if waiting:
            progress(waiting.pop(0))
    return [records[index] for index in range(len(chosen))]


def _crossings(
    folder: Path, request: Request, recipes: Sequence[Recipe], songs: Songs
) -> list[Crossing]:
    return [Crossing(run=folder, request=request, songs=songs, recipe=recipe) for recipe in recipes]


def _results(outcomes: Iterable[Outcome[Out]]) -> Iterator[tuple[int, Out]]:
    """Results as they come; the first problem ends the run."""
    for outcome in outcomes:
        if outcome.problem is not None or outcome.result is None:
            raise SegueError(outcome.problem or "a step of the run came to nothing.")
        yield outcome.index, outcome.result


def _check_names(names: Sequence[str], shelf: Sequence[Recipe]) -> None:
    known = [recipe.name for recipe in shelf]
    for name in names:
        if name not in known:
            raise OptionError(
                f"'{name}' is not a recipe: there are {', '.join(sorted(known))}."
                f"{did_you_mean(name, known)}"
            )
