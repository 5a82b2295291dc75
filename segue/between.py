"""The main job, end to end: two songs in, a run folder with three ways across out.

This is the only place that knows the order of all stages; each stage hands its
frozen result to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.analysis.hear import hear_edge
from segue.analysis.overrides import Overrides
from segue.audio import read_song
from segue.audio.loudness import integrated_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.audio.write import write_wav24
from segue.audition import write_page
from segue.errors import OptionError, did_you_mean
from segue.plan import load_recipes, plan_segue, proposals, shelf_folder
from segue.render import render_candidate
from segue.runfolder import (
    BarReport,
    CandidateRecord,
    RunDocument,
    check_free,
    document_text,
    whole_folder,
)
from segue.runfolder.document import DOCUMENT_NAME
from segue.runfolder.pictures import write_picture
from segue.score import score_candidate

if TYPE_CHECKING:
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge, SongEdge
    from segue.plan import Plan, Recipe
    from segue.render.candidate import Candidate

Progress = Callable[[str], None]
"""Called with a few words at the start of each step."""

N_PROPOSALS: Final = 3
N_STEPS_AROUND: Final = 5
"""Reading and hearing two songs, and writing the page."""
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
    only : tuple of str
        Names of recipes to use; empty means the most suitable ones.
    seed : int
    replace : bool
        Whether a run whose choice was made may be replaced.
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
    only: tuple[str, ...] = ()
    seed: int = 0
    replace: bool = False


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
    shelf = load_recipes(request.recipes or shelf_folder())
    songs = (_hear(request, "end", progress), _hear(request, "start", progress))
    (_, old), (_, new) = songs
    plans = [
        plan_segue(
            recipe,
            old,
            new,
            outgoing_has_stems=songs[0][0].has_stems,
            incoming_has_stems=songs[1][0].has_stems,
            seed=request.seed,
        )
        for recipe in _chosen(shelf, request.only, old, new)
    ]
    with whole_folder(request.out) as folder:
        records = [_rendered_into(folder, plan, songs, progress) for plan in plans]
        document = RunDocument(
            schema_version=1,
            segue_version=__version__,
            rate_hz=request.rate_hz,
            outgoing=old,
            incoming=new,
            candidates=_ranked(folder, records),
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
    return song, hear_edge(song, overrides=overrides, lead=lead)


def _chosen(
    shelf: tuple[Recipe, ...], only: tuple[str, ...], old: EdgeFacts, new: EdgeFacts
) -> tuple[Recipe, ...]:
    if not only:
        return proposals(shelf, old, new, n_proposals=N_PROPOSALS)
    by_name = {recipe.name: recipe for recipe in shelf}
    for name in only:
        if name not in by_name:
            raise OptionError(
                f"'{name}' is not a recipe: there are {', '.join(sorted(by_name))}."
                f"{did_you_mean(name, by_name)}"
            )
    return tuple(by_name[name] for name in dict.fromkeys(only))


def _rendered_into(
    folder: Path, plan: Plan, songs: tuple[Song, Song], progress: Progress
) -> CandidateRecord:
    """Render and score one plan, and leave its files under its recipe's name."""
    (outgoing, old), (incoming, new) = songs
    progress(f"rendering '{plan.recipe}'")
    candidate = render_candidate(plan, outgoing, incoming)
    progress(f"listening to '{plan.recipe}'")
    scorecard = score_candidate(candidate, old, new)
    names = _write_audio(folder, candidate)
    picture = f"{_slug(plan.recipe)}.png"
    write_picture(
        folder / picture,
        title=f"{old.title} → {new.title}: {plan.recipe}",
        music=candidate.music,
        plan=plan,
        scorecard=scorecard,
    )
    return CandidateRecord(
        rank=1,
        plan=plan,
        scorecard=scorecard,
        bars=_bars(plan),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
        singer_s=None if plan.singer_beat is None else plan.seconds_at(plan.singer_beat),
        music_file=names["music"],
        click_file=names["click"],
        cue_file=names["cue"],
        picture_file=picture,
        loudness_lufs=integrated_lufs(candidate.music),
        true_peak_dbtp=true_peak_dbtp(candidate.music, oversampling=16),
        notes=(*plan.notes, *candidate.notes),
    )


def _write_audio(folder: Path, candidate: Candidate) -> dict[str, str]:
    slug = _slug(candidate.plan.recipe)
    names = {"music": f"{slug}.wav", "click": f"{slug} click.wav", "cue": f"{slug} cue.wav"}
    for bus, name in names.items():
        write_wav24(folder / name, getattr(candidate, bus))
    return names


def _bars(plan: Plan) -> tuple[BarReport, ...]:
    return tuple(
        BarReport(number=line.number, time_s=plan.seconds_at(line.beat), section=line.section)
        for line in plan.bar_lines
    )


def _ranked(folder: Path, records: list[CandidateRecord]) -> tuple[CandidateRecord, ...]:
    """Records best first, their files renamed to begin with the rank."""
    best_first = sorted(records, key=lambda record: -record.scorecard.overall)
    return tuple(_with_rank(folder, record, n) for n, record in enumerate(best_first, start=1))


def _with_rank(folder: Path, record: CandidateRecord, rank: int) -> CandidateRecord:
    def renamed(name: str) -> str:
        (folder / name).rename(folder / f"{rank} {name}")
        return f"{rank} {name}"

    return replace(
        record,
        rank=rank,
        music_file=renamed(record.music_file),
        click_file=renamed(record.click_file),
        cue_file=renamed(record.cue_file),
        picture_file=renamed(record.picture_file),
    )


def _slug(name: str) -> str:
    """File name of a recipe: letters, digits, spaces and dashes of its name."""
    kept = "".join(c if c.isalnum() or c in " -" else "-" for c in name)
    return kept.strip(" -") or "candidate"
