"""``segue between`` and ``segue demo``: three segues from the end of a song to the start of one."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli import options
from segue.cli.boundary import JOB_MODULES
from segue.cli.recipes import own_recipes_folder, shelf_at_hand
from segue.errors import InputError, OptionError

if TYPE_CHECKING:
    from segue.job.request import Request
    from segue.runfolder import RunDocument

DEMO_OUT = Path("segue-demo")
MOST_SHIFT_SEMITONES = 6  # a tritone: further is nearer the other way round


def between(
    old_song: Annotated[
        Path, typer.Argument(help="The song that ends: a file or a folder of stems.")
    ],
    new_song: Annotated[Path, typer.Argument(help="The song that starts.")],
    out: Annotated[Path, typer.Option(help="Folder for the three segues.")],
    key_a: options.KeyA = None,
    key_b: options.KeyB = None,
    tempo_a: options.TempoA = None,
    tempo_b: options.TempoB = None,
    metre_a: options.MetreA = None,
    metre_b: options.MetreB = None,
    downbeat_a: options.DownbeatA = None,
    downbeat_b: options.DownbeatB = None,
    tuning_a: options.TuningA = None,
    tuning_b: options.TuningB = None,
    ending_a: options.EndingA = None,
    opening_b: options.OpeningB = None,
    first_note_b: options.FirstNoteB = None,
    lead_b: options.Lead = None,
    recipes: options.Recipes = None,
    recipe: options.Only = None,
    purpose: options.For = None,
    rate_hz: options.RateHz = 48_000,
    edge_s: options.EdgeS = 45.0,
    leave: options.Leave = None,
    enter: options.Enter = None,
    bars: options.BridgeBars = None,
    exactly: options.Exactly = False,
    talk: options.Talk = None,
    match: options.Match = False,
    shift_b: options.ShiftB = 0,
    pad: options.Pad = None,
    stretch_engine: options.StretchEngineName = "own",
    seed: options.Seed = 0,
    replace: options.Replace = False,
    no_cache: options.NoCache = False,
    workers: options.WorkersN = None,
    json: options.Json = False,
    quiet: options.Quiet = False,
) -> None:
    """Make three segues from the end of OLD_SONG to the start of NEW_SONG."""
    options.check_rate(rate_hz)
    options.check_edge(edge_s)
    _check_shift(shift_b)
    outgoing = options.overrides_of(
        key=key_a,
        tempo_bpm=tempo_a,
        metre=metre_a,
        downbeat_s=downbeat_a,
        tuning_cents=tuning_a,
        ending=ending_a,
    )
    incoming = options.overrides_of(
        key=key_b,
        tempo_bpm=tempo_b,
        metre=metre_b,
        downbeat_s=downbeat_b,
        tuning_cents=tuning_b,
        opening=opening_b,
        first_note=first_note_b,
    )
    from segue.cli.taste import read_weights, weights_path
    from segue.job.request import Request
    from segue.plan.places_asked import places_asked

    asked = places_asked(leave=leave, enter=enter, n_bars=bars, exactly=exactly)
    if stretch_engine == "rubberband":
        from segue.render.rubber import refuse_if_missing

        refuse_if_missing("--stretch-engine rubberband")
    request = Request(
        outgoing=old_song,
        incoming=new_song,
        out=out,
        rate_hz=rate_hz,
        edge_s=edge_s,
        outgoing_overrides=outgoing,
        incoming_overrides=incoming,
        lead=lead_b,
        recipes=recipes,
        own_recipes=own_recipes_folder(),
        only=tuple(recipe or ()),
        purpose=purpose,
        own_weights=read_weights(weights_path()),
        talk_s=None if talk is None else options.seconds_of("--talk", talk),
        asked=asked,
        match=match,
        shift_b=shift_b,
        pad=pad,
        stretch_engine=stretch_engine,
        seed=seed,
        replace=replace,
        cached=not no_cache,
        n_workers=_workers(workers),
    )
    _run(request, json=json, quiet=quiet)


def demo(
    out: Annotated[Path, typer.Option(help="Folder for the three segues.")] = DEMO_OUT,
    replace: options.Replace = False,
    json: options.Json = False,
    quiet: options.Quiet = False,
) -> None:
    """Make three segues of two demo songs, a semitone and 28 BPM apart."""
    from segue.job.request import Request

    old_song, new_song = demo_pair()
    own = own_recipes_folder()
    request = Request(
        outgoing=old_song,
        incoming=new_song,
        out=out,
        own_recipes=own,
        replace=replace,
        n_workers=_workers(None),
    )
    _run(request, json=json, quiet=quiet)


def _run(request: Request, *, json: bool, quiet: bool) -> None:
    from segue.workers import one_heap
    from segue.workers.ahead import begin_ahead, taken_ahead

    one_heap()
    ahead = taken_ahead()
    if ahead is None and request.n_useful_workers > 1:
        begin_ahead(*JOB_MODULES)
        ahead = taken_ahead()
    from segue.cli.hints import progress_bar
    from segue.job.between import N_STEPS_AROUND, make_segues
    from segue.job.shortlist import N_PROPOSALS

    shelf_at_hand(request.recipes)
    n_candidates = len(request.only) or N_PROPOSALS
    total = N_STEPS_AROUND + n_candidates
    with ahead or nullcontext(), progress_bar(total, quiet=quiet) as tell:
        hands = None if ahead is None else ahead.grown_to(request.n_useful_workers)
        document = make_segues(request, progress=tell, workers=hands)
    _print_run(document, request.out, json=json, quiet=quiet)


def _print_run(document: RunDocument, out: Path, *, json: bool, quiet: bool) -> None:
    from segue.cli.tables import print_facts, print_json, print_options, print_where, run_report

    if json:
        print_json(run_report(document, out))
        return
    print_facts([document.outgoing, document.incoming])
    print_options(document)
    if not quiet:
        print_where(document, out)


def _workers(wanted: int | None) -> int:
    """As many processes as the user says, or else as are of use."""
    from segue.job.shortlist import N_PROPOSALS
    from segue.workers import n_cores

    return min(n_cores(), N_PROPOSALS) if wanted is None else wanted


def _check_shift(semitones: int) -> None:
    if abs(semitones) > MOST_SHIFT_SEMITONES:
        raise OptionError(
            f"--new-shift {semitones} is more than {MOST_SHIFT_SEMITONES} semitones: "
            "by then it is another song; move it the other way, or less."
        )


DEMO_PAIR = "0[12] *"
"""The two demo songs that are a semitone and 28 BPM apart, by their numbers."""


def demo_folder() -> Path:
    """Folder of the demo songs.

    Raises
    ------
    InputError
        If the demo songs were not installed.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_shipped" / "demo_audio", package.parent / "demo_audio"):
        if folder.is_dir():
            return folder
    raise InputError(package, "the demo songs are missing: install Segue again.")


def demo_pair() -> tuple[Path, Path]:
    """The two demo songs of the main job.

    Raises
    ------
    InputError
        If the demo songs are not there.
    """
    folder = demo_folder()
    songs = sorted(path for path in folder.glob(DEMO_PAIR) if path.is_dir())
    if len(songs) != 2:  # noqa: PLR2004 - a pair
        raise InputError(folder, "the demo songs are incomplete: install Segue again.")
    return songs[0], songs[1]
