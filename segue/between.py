"""The main job, end to end: two songs in, a run folder with three ways across out.

This is the only place that knows the order of all stages; each stage hands its
frozen result to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.overrides import Overrides
from segue.audio import read_song
from segue.audio.instrument import Instrument, read_instrument
from segue.audition import write_page
from segue.errors import OptionError, did_you_mean
from segue.facts_cache import user_facts_cache
from segue.hearing import hear
from segue.keeping import kept, levelled, ranked
from segue.music.transposition import transposition_advice
from segue.music.transposition_costs import SungNotes
from segue.plan import all_recipes, plan_segue
from segue.plan.layer import PadLayer
from segue.render import render_candidate
from segue.render.transpose import transposed
from segue.runfolder import RunDocument, check_free, document_text, whole_folder
from segue.runfolder.document import DOCUMENT_NAME
from segue.score import score_candidate
from segue.shortlist import shortlist

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge, SongEdge
    from segue.plan import Plan, Recipe
    from segue.render.candidate import Candidate
    from segue.runfolder import CandidateRecord
    from segue.score import Purpose, Scorecard

Progress = Callable[[str], None]
"""Called with a few words at the start of each step."""

N_STEPS_AROUND: Final = 6
"""Reading and hearing two songs, trying the recipes, and writing the page."""
N_STEPS_A_CANDIDATE: Final = 2
"""Rendering and scoring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What `make_segues` is asked to do.

    Parameters
    ----------
    outgoing, incoming : Path
        Audio files or folders of stems.
    out : Path
        The run folder to be.
    rate_hz : int
        Project rate.
    edge_s : float
        How much of each song is read.
    outgoing_overrides, incoming_overrides : Overrides
        What the musician says.
    lead : Path or None
        A file with the incoming song's sung or lead part.
    recipes : Path or None
        A folder of recipes instead of the built-in shelf.
    own_recipes : Path or None
        A folder of the user's own recipes beside the shelf; it need not exist.
    only : tuple of str
        Names of recipes to use; empty means the most suitable ones.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the way across is for: the column of the table of weights.
    own_weights : mapping or None
        The band's own weights, which count where no purpose is given.
    talk_s : float or None
        What the singer wants for talking between the songs.
    match : bool
        Bring both songs to one loudness.
    shift_b : int
        Semitones that the incoming song is moved by.
    pad : Path or None
        The user's own sound for all pads: one recorded note, or a SoundFont.
    seed : int
    replace : bool
        Whether a run whose choice was made may be replaced.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    """

    outgoing: Path
    incoming: Path
    out: Path
    rate_hz: int = 48_000
    edge_s: float = 45.0
    outgoing_overrides: Overrides = field(default_factory=Overrides)
    incoming_overrides: Overrides = field(default_factory=Overrides)
    lead: Path | None = None
    recipes: Path | None = None
    own_recipes: Path | None = None
    only: tuple[str, ...] = ()
    purpose: Purpose | None = None
    own_weights: Mapping[str, float] | None = None
    talk_s: float | None = None
    match: bool = False
    shift_b: int = 0
    pad: Path | None = None
    seed: int = 0
    replace: bool = False
    cached: bool = True

    @property
    def weights(self) -> Mapping[str, float] | None:
        """The band's own weights where they count."""
        return self.own_weights if self.purpose is None else None


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
    _instruments(request)  # a sound that cannot be read is told before anything is heard
    songs = (_hear(request, "end", progress), _hear(request, "start", progress))
    (_, old), (_, new) = songs
    chosen = _chosen(shelf, songs, request, progress)
    plans = [_planned(recipe, songs, request) for recipe in chosen]
    with whole_folder(request.out) as folder:
        records = [_rendered_into(folder, plan, songs, request, progress) for plan in plans]
        records = levelled(folder, records, title=f"{old.title} → {new.title}")
        document = RunDocument(
            schema_version=1,
            segue_version=__version__,
            rate_hz=request.rate_hz,
            outgoing=old,
            incoming=new,
            candidates=ranked(folder, records),
            purpose=request.purpose,
            weights="table" if request.weights is None else "own",
        )
        (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
        progress("writing the page")
        write_page(folder, document)
    return document


Song = tuple["SongEdge", "EdgeFacts"]


def _hear(request: Request, edge: Edge, progress: Progress) -> Song:
    is_end = edge == "end"
    path = request.outgoing if is_end else request.incoming
    overrides = request.outgoing_overrides if is_end else request.incoming_overrides
    progress(f"reading {path.name}")
    song = read_song(path, edge=edge, edge_s=request.edge_s, rate_hz=request.rate_hz)
    progress(f"hearing the {edge} of {song.title}")
    lead = None
    if request.lead is not None and not is_end:
        lead = read_song(
            request.lead, edge=edge, edge_s=request.edge_s, rate_hz=request.rate_hz
        ).mix
    cache = user_facts_cache() if request.cached else None
    facts = hear(song, overrides=overrides, lead=lead, cache=cache)
    return (song, facts) if is_end else _moved(song, facts, request.shift_b)


def _moved(song: SongEdge, facts: EdgeFacts, semitones: int) -> Song:
    """A song and its facts in another key."""
    if semitones == 0:
        return song, facts
    key, note = facts.key, facts.first_note
    runners_up = tuple(replace(k, key=k.key.transposed(semitones)) for k in key.runners_up)
    facts = replace(
        facts,
        key=replace(key, key=key.key.transposed(semitones), runners_up=runners_up),
        first_note=None if note is None else replace(note, midi=note.midi + semitones),
    )
    return transposed(song, semitones), facts


@lru_cache(maxsize=2)
def _read_pad(path: Path) -> Instrument:
    return read_instrument(path)


def _instruments(request: Request) -> dict[str, Instrument]:
    return {} if request.pad is None else {str(request.pad): _read_pad(request.pad)}


def _chosen(
    shelf: tuple[Recipe, ...], songs: tuple[Song, Song], request: Request, progress: Progress
) -> tuple[Recipe, ...]:
    if not request.only:
        return shortlist(
            shelf,
            (songs[0][1], songs[1][1]),
            lambda recipe, *edges: _quick_mark(recipe, edges, songs, request),
            (songs[0][0], songs[1][0]),
            talk_s=request.talk_s,
            tell=progress,
        )
    by_name = {recipe.name: recipe for recipe in shelf}
    for name in request.only:
        if name not in by_name:
            raise OptionError(
                f"'{name}' is not a recipe: there are {', '.join(sorted(by_name))}."
                f"{did_you_mean(name, by_name)}"
            )
    return tuple(by_name[name] for name in dict.fromkeys(request.only))


def _quick_mark(
    recipe: Recipe, edges: tuple[SongEdge, ...], songs: tuple[Song, Song], request: Request
) -> float:
    quick = ((edges[0], songs[0][1]), (edges[1], songs[1][1]))
    candidate = render_candidate(_planned(recipe, quick, request), *edges)
    return _scored(candidate, quick, request).overall


def _planned(recipe: Recipe, songs: tuple[Song, Song], request: Request) -> Plan:
    (outgoing, old), (incoming, new) = songs
    plan = plan_segue(
        recipe,
        old,
        new,
        outgoing_has_stems=outgoing.has_stems,
        incoming_has_stems=incoming.has_stems,
        talk_s=request.talk_s,
        match=request.match,
        seed=request.seed,
    )
    pad = "" if request.pad is None else str(request.pad)
    return replace(
        plan,
        layers=tuple(
            replace(layer, instrument=pad) if pad and isinstance(layer, PadLayer) else layer
            for layer in plan.layers
        ),
        incoming_shift_semitones=request.shift_b,
        notes=(*_shift_notes(old, new, request.shift_b), *plan.notes),
    )


def _shift_notes(old: EdgeFacts, new: EdgeFacts, semitones: int) -> tuple[str, ...]:
    """What moving the incoming song costs the band."""
    if semitones == 0:
        return ()
    note = new.first_note
    advice = transposition_advice(
        old.key.key,
        new.key.key.transposed(-semitones),
        sung=None if note is None else SungNotes(first_midi=note.midi - semitones),
    )
    move = next((m for m in advice.moves if m.semitones == semitones), None)
    return () if move is None else (move.sentence, *(cost.sentence for cost in move.costs))


def _scored(candidate: Candidate, songs: tuple[Song, Song], request: Request) -> Scorecard:
    (_, old), (_, new) = songs
    return score_candidate(candidate, old, new, purpose=request.purpose, weights=request.weights)


def _rendered_into(
    folder: Path, plan: Plan, songs: tuple[Song, Song], request: Request, progress: Progress
) -> CandidateRecord:
    """Render and score one plan, and leave its files under its recipe's name."""
    (outgoing, _), (incoming, _) = songs
    progress(f"rendering '{plan.recipe}'")
    candidate = render_candidate(plan, outgoing, incoming, instruments=_instruments(request))
    progress(f"listening to '{plan.recipe}'")
    scorecard = _scored(candidate, songs, request)
    return kept(folder, candidate, scorecard)
