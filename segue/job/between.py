"""The main job, end to end: two songs in, a run folder with three options out.

This is the only place that knows the order of all steps; each hands its frozen result
to the next. Steps that do not need each other are done side by side.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from threading import Thread
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.shared_count import counted_pair
from segue.audio.read import check_song
from segue.audition import bus_mp3s, buses_of, write_page
from segue.errors import RunFolderError, SegueError
from segue.job.attempt import Attempt
from segue.job.keeping import Rendered, draw_pictures, levelled, ranked, written_sounds
from segue.job.shortlist import QuickListen, shortlist
from segue.job.songs_at_hand import songs_shared
from segue.job.steps import (
    EdgeToHear,
    SoundsToWrite,
    forget_songs,
    heard,
    instruments_of,
    read_ahead,
    rendered,
    tried,
    written_mp3s,
)
from segue.plan import Given
from segue.plan.heard_words import filled_in
from segue.plan.places_asked import end_as_asked, start_as_asked
from segue.recipes import Recipe, all_recipes
from segue.runfolder import (
    CandidateRecord,
    Choice,
    RunDocument,
    RunSources,
    SongSource,
    check_free,
    document_text,
    place_text,
    read_document,
    whole_folder,
)
from segue.runfolder.pictures import load_drawing
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.workers import Out, Outcome, Workers, open_workers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from segue.audio.clip import Edge
    from segue.heard import HeardEdge
    from segue.job.request import Request

Songs = tuple["HeardEdge", "HeardEdge"]

N_STEPS_AROUND: Final = 5
"""Hearing the one song and the other, trying the recipes, rendering, and writing the page."""


def make_segues(
    request: Request,
    *,
    progress: Callable[[str], None],
    keeps_choice: bool = False,
    workers: Workers | None = None,
    on_chosen: Callable[[tuple[Recipe, ...]], None] = lambda _recipes: None,
    on_rendered: Callable[[Rendered], None] = lambda _made: None,
) -> RunDocument:
    """Do the main job.

    Parameters
    ----------
    keeps_choice : bool
        Whether what was chosen in an earlier run there is chosen in this one too, if its recipe
        is among the new segues.
    workers : Workers, optional
        Who does the steps, instead of as many processes as the request says; they share its disk.
    on_chosen : callable
        Given the recipes that are about to be rendered.
    on_rendered : callable
        Given each segue as soon as it can be heard, before all are brought to one level.

    Raises
    ------
    SegueError
        If an input cannot be used or the run folder cannot be written.
    """
    pair = (place_text(request.outgoing), place_text(request.incoming))

    def check() -> None:
        check_free(request.out, replace=request.replace, keeps_choice=keeps_choice, pair=pair)

    check()
    with (
        whole_folder(request.out) as folder,
        nullcontext(workers)
        if workers
        else open_workers(n_processes=request.n_useful_workers) as hands,
    ):
        try:
            with songs_shared(folder):
                if hands.n_workers > 1:  # told before others have loaded what they hear with
                    check_song(request.outgoing)
                    check_song(request.incoming)
                with read_ahead(folder, request) if hands.n_workers == 1 else nullcontext():
                    found = all_recipes(request.recipes, own=request.own_recipes)
                    for name in request.only:
                        found.named(name)
                    instruments_of(request)  # what cannot be read is told before anything is heard
                # again, now that nobody else can write: the band may have chosen in the meantime
                check()
                earlier = earlier_run(request.out) if keeps_choice else None
                making = _Making(
                    folder=folder,
                    request=request,
                    workers=hands,
                    progress=progress,
                    on_chosen=on_chosen,
                    on_rendered=on_rendered,
                )
                songs, made = making.made(found.recipes)
            forget_songs()  # the page wants memory, too
            best_first = ranked(levelled(made))
            del made
            document = _document(request, songs, best_first, earlier)
            progress("writing the page")
            _write(folder, document, best_first, hands, run_name=request.out.resolve().name)
            return document
        finally:
            forget_songs()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Making:
    """A run that is being made: where, what for, by whom, and who is told what."""

    folder: Path
    request: Request
    workers: Workers
    progress: Callable[[str], None]
    on_chosen: Callable[[tuple[Recipe, ...]], None]
    on_rendered: Callable[[Rendered], None]

    def made(self, shelf: tuple[Recipe, ...]) -> tuple[Songs, list[Rendered]]:
        """The songs as heard, and all segues, in the order of their recipes."""
        songs = self._heard_songs()
        chosen = self._chosen(shelf, songs)
        self.on_chosen(chosen)
        return songs, self._rendered(chosen, songs)

    def _heard_songs(self) -> Songs:
        request = self.request
        self.progress(f"hearing the end of {request.outgoing.name}")
        ends: tuple[Edge, Edge] = ("end", "start")
        steps = [EdgeToHear(run=self.folder, request=request, edge=edge) for edge in ends]
        found: dict[int, HeardEdge] = {}
        for index, song in _results(self.workers.outcomes(heard, steps)):
            found[index] = song
            if len(found) < len(steps):
                self.progress(f"hearing the start of {request.incoming.name}")
        old, new = found[0], found[1]
        facts = filled_in(*counted_pair(old.facts, new.facts, settled_bpm=request.counted_bpm))
        end_as_asked(facts[0], request.asked)  # a place that is not there is told before any work
        start_as_asked(facts[1], request.asked)
        return replace(old, facts=facts[0]), replace(new, facts=facts[1])

    def _chosen(self, shelf: tuple[Recipe, ...], songs: Songs) -> tuple[Recipe, ...]:
        """The recipes that were asked for, or the best of the shelf."""
        if self.request.only:
            by_name = {recipe.name: recipe for recipe in shelf}
            return tuple(by_name[name] for name in dict.fromkeys(self.request.only))

        def listen(recipes: Sequence[Recipe]) -> dict[str, QuickListen]:
            self.progress(f"trying {len(recipes)} recipes")
            results = _results(self.workers.outcomes(tried, self._attempts(recipes, songs)))
            return {recipes[n].name: heard for n, heard in results}

        given = Given(
            talk_s=self.request.talk_s,
            outgoing_roles=songs[0].roles,
            incoming_roles=songs[1].roles,
            purpose=self.request.purpose,
            asked=self.request.asked,
        )
        return shortlist(shelf, (songs[0].facts, songs[1].facts), listen, given)

    def _rendered(self, chosen: Sequence[Recipe], songs: Songs) -> list[Rendered]:
        """All segues, in the order of the recipes."""
        waiting = [f"rendering '{recipe.name}'" for recipe in chosen]
        self.progress(waiting.pop(0))
        found: dict[int, Rendered] = {}
        n_when_a_core_is_free = max(len(chosen) - self.workers.n_workers, 0) + 1
        outcomes = self.workers.outcomes(rendered, self._attempts(chosen, songs))
        for index, candidate in _results(outcomes):
            found[index] = candidate
            if len(found) == n_when_a_core_is_free:
                Thread(target=load_drawing).start()
            self.on_rendered(candidate)
            if waiting:
                self.progress(waiting.pop(0))
        return [found[index] for index in range(len(chosen))]

    def _attempts(self, recipes: Sequence[Recipe], songs: Songs) -> list[Attempt]:
        run, request = self.folder, self.request
        return [Attempt(run=run, request=request, songs=songs, recipe=one) for one in recipes]


def _document(
    request: Request, songs: Songs, best_first: Sequence[Rendered], earlier: RunDocument | None
) -> RunDocument:
    candidates = tuple(candidate.record for candidate in best_first)
    old, new = (song.facts for song in songs)
    return RunDocument(
        schema_version=1,
        segue_version=__version__,
        rate_hz=request.rate_hz,
        outgoing=old,
        incoming=new,
        candidates=candidates,
        choice=same_choice(earlier, candidates),
        purpose=request.purpose,
        weights="table" if request.weights is None else "own",
        sources=_sources(request, songs),
    )


def _write(
    folder: Path,
    document: RunDocument,
    best_first: Sequence[Rendered],
    workers: Workers,
    *,
    run_name: str,
) -> None:
    """Everything into the run folder."""
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    title = f"{document.outgoing.title} → {document.incoming.title}"
    with ThreadPoolExecutor(1) as artist:  # sounds are encoded in C or elsewhere
        drawn = artist.submit(draw_pictures, folder, best_first, title=title)
        write_page(folder, document, _mp3s(folder, best_first, workers), run_name=run_name)
        drawn.result()


def _mp3s(
    folder: Path, best_first: Sequence[Rendered], workers: Workers
) -> list[tuple[str, bytes]]:
    """The sounds of the page, whose files are written on the way."""
    buses = buses_of([one.record for one in best_first])
    if workers.n_workers == 1 or not workers.shares_disk:
        return bus_mp3s(buses, written_sounds(folder, best_first))
    by_file = {bus.file: bus for bus in buses}
    steps = [
        SoundsToWrite(
            folder=folder, made=one, buses=tuple(by_file[file] for file in one.record.sound_files)
        )
        for one in best_first
    ]
    found = dict(_results(workers.outcomes(written_mp3s, steps)))
    return [sound for index in range(len(steps)) for sound in found[index]]


def _sources(request: Request, songs: Songs) -> RunSources:
    """What the run is made from, so that an option can be changed later."""
    old, new = songs
    return RunSources(
        outgoing=_source(request.outgoing, old),
        incoming=_source(request.incoming, new),
        edge_s=request.edge_s,
        match=request.match,
        own_weights=request.weights,
    )


def _source(path: Path, song: HeardEdge) -> SongSource:
    return SongSource(path=place_text(path), sound=song.sound, has_stems=song.has_stems)


def earlier_run(out: Path) -> RunDocument | None:
    """The document of a run folder, if there is one that can be read."""
    try:
        return read_document(out)
    except RunFolderError:
        return None


def same_choice(
    earlier: RunDocument | None, candidates: tuple[CandidateRecord, ...]
) -> Choice | None:
    """What was chosen in an earlier run, by its recipe: its rank may be another now."""
    if earlier is None or earlier.choice is None:
        return None
    if earlier.choice.rank in [record.rank for record in earlier.versions]:
        return None  # the new run has no such version, and its option was not chosen
    for record in candidates:
        if record.plan.recipe == earlier.chosen_recipe:
            return Choice(rank=record.rank, why=earlier.choice.why)
    return None


def _results(outcomes: Iterable[Outcome[Out]]) -> Iterator[tuple[int, Out]]:
    """Results as they come; the first problem ends the run."""
    for outcome in outcomes:
        if outcome.problem is not None or outcome.result is None:
            raise SegueError(outcome.problem or "a step of the run came to nothing.")
        yield outcome.index, outcome.result
