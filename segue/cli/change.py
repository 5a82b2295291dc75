"""``segue change``: a version of an option beside it; ``segue undo`` and ``segue redo``."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.options import BridgeBars, Enter, Exactly, Json, Leave, Quiet, Run
from segue.errors import OptionError, printable

if TYPE_CHECKING:
    from segue.job.changes import Changes
    from segue.runfolder import CandidateRecord, RunDocument


def change(
    run: Run,
    option: Annotated[str, typer.Argument(help="What is changed: 2, or a version such as 2b.")],
    bars: BridgeBars = None,
    leave: Leave = None,
    enter: Enter = None,
    exactly: Exactly = False,
    ramp: Annotated[
        int | None, typer.Option("--ramp", help="Bars over which the tempo moves.")
    ] = None,
    ramp_after: Annotated[
        int | None, typer.Option("--ramp-after", help="Bars at the old tempo before the ramp.")
    ] = None,
    pad: Annotated[
        str | None, typer.Option(help="Sound of the pads: warm, glass, choir or a file.")
    ] = None,
    chords: Annotated[
        str | None, typer.Option(help="Chords that lead to the new song: 'Em C Db C7'.")
    ] = None,
    cadence: Annotated[
        str | None,
        typer.Option(help="Last chord: dominant, plagal (subdominant), 'flat seventh' or any."),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--without", help="Leave out a layer: 'drums', 'riser' (repeatable)."),
    ] = None,
    level: Annotated[
        list[str] | None,
        typer.Option("--level", help="A layer louder or softer: 'pad -3' (repeatable)."),
    ] = None,
    recipe: Annotated[
        str | None, typer.Option("--recipe", help="Another recipe, between the same places.")
    ] = None,
    as_recipe: Annotated[
        Path | None,
        typer.Option("--as-recipe", help="Keep it as a recipe of your own, in a new TOML file."),
    ] = None,
    draft: Annotated[
        bool,
        typer.Option("--draft", help="No version yet: the bridge alone, roughly, and at once."),
    ] = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Change an option: a version of it comes to lie beside it."""
    from segue.job.changes import Changes, level_asked

    changes = Changes(
        recipe=recipe,
        n_bars=bars,
        ramp_bars=ramp,
        held_bars=ramp_after,
        leave=leave,
        enter=enter,
        exactly=exactly,
        pad=pad,
        chords=chords,
        cadence=cadence,
        without=tuple(leave_out or ()),
        levels=tuple(level_asked(text) for text in level or ()),
    )
    if draft and (as_recipe is not None or json):
        raise OptionError("--draft is for listening: leave out --as-recipe and --json.")
    if draft:
        _draft(run, option, changes, quiet=quiet)
        return
    if as_recipe is not None:
        _write_recipe(run, option, changes, as_recipe, quiet=quiet)
        return
    _change(run, option, changes, json=json, quiet=quiet)


def undo(run: Run, quiet: Quiet = False) -> None:
    """Take the latest version back."""
    from segue.cli.hints import print_next
    from segue.job.version import UNDONE_NAME
    from segue.job.version import undo as taken_back
    from segue.setlist.set_document import show_choice

    record = taken_back(run)
    show_choice(run)
    _say(f"Taken back: {record.label}, {record.plan.recipe}.")
    if not quiet:
        _say(f"Its files are in {printable(run / UNDONE_NAME)}.")
        print_next("Bring it back", "redo", run)


def redo(run: Run, quiet: Quiet = False) -> None:
    """Bring back the version that was taken back last."""
    from segue.cli.hints import print_next
    from segue.job.version import redo as brought_back
    from segue.setlist.set_document import show_choice

    record = brought_back(run)
    show_choice(run)
    _say(f"Back again: {record.label}, {record.plan.recipe}.")
    if not quiet:
        print_next("Listen", "audition", run)


def _change(run: Path, option: str, changes: Changes, *, json: bool, quiet: bool) -> None:
    from segue.cli.hints import progress_bar
    from segue.cli.recipes import own_recipes_folder
    from segue.cli.tables import candidate_report, print_json
    from segue.job.version import N_STEPS, VersionOrder, make_version
    from segue.runfolder import read_document
    from segue.setlist.set_document import show_choice
    from segue.workers import one_heap

    one_heap()
    with progress_bar(N_STEPS, quiet=quiet) as tell:
        own = own_recipes_folder()
        order = VersionOrder(run=run, option=option, changes=changes, own_recipes=own)
        record = make_version(order, progress=tell)
    show_choice(run)
    if json:
        print_json({"run": str(run), **candidate_report(record)})
        return
    _print_version(read_document(run), record, run, quiet=quiet)


def _draft(run: Path, option: str, changes: Changes, *, quiet: bool) -> None:
    """Render where what that needs was loaded while this process read what is asked."""
    from segue.audio.write import write_wav24
    from segue.cli.recipes import own_recipes_folder
    from segue.job.draft import DRAFT_NAME, make_draft
    from segue.workers.ahead import taken_ahead

    own, path = own_recipes_folder(), run / DRAFT_NAME
    drafted = make_draft(run, option, changes, own_recipes=own, workers=taken_ahead())
    write_wav24(path, drafted.clip)
    _say(f"Draft: {printable(path)}")
    if not quiet:
        _say("The same command without --draft makes the version, in full and scored.")


def _print_version(
    document: RunDocument, record: CandidateRecord, run: Path, *, quiet: bool
) -> None:
    from rich.console import Console

    from segue.cli.hints import print_next
    from segue.cli.tables import print_candidate

    print_candidate(Console(soft_wrap=False), document, record, record.notes)
    if record.version is not None:
        before = next((r for r in document.candidates if r.label == record.version.of), None)
        if before is not None:
            _say(
                f"{before.label} scored {before.scorecard.overall:.2f}, {record.label} "
                f"{record.scorecard.overall:.2f} of 1."
            )
    if quiet:
        return
    _say(f"Hear it: {printable(run / record.music_file)}")
    print_next("Compare them", "audition", run)
    print_next("Take it back", "undo", run)


def _write_recipe(run: Path, option: str, changes: Changes, path: Path, *, quiet: bool) -> None:
    from segue.cli.hints import print_next
    from segue.cli.recipes import own_recipes_folder
    from segue.job.own_recipe import own_recipe, write_recipe
    from segue.recipes.recipe_file import placed_warnings

    if changes.leave or changes.enter:
        raise OptionError(
            "--as-recipe keeps what a recipe can say, and --leave and --enter are places in these "
            "two songs: leave them out."
        )
    name = " ".join(path.stem.replace("-", " ").replace("_", " ").split())
    recipe = own_recipe(run, option, changes, name=name, own_recipes=own_recipes_folder())
    write_recipe(recipe, path, comment=f"Option {option} of a run, kept as a recipe.")
    _say(f"Kept as '{recipe.name}' in {printable(path)}.")
    for warning in placed_warnings(recipe, path):
        _say(warning)
    if not quiet:
        print_next("Look at it", "recipes", "check", path)
        _say(f"Put it into {own_recipes_folder()} to have it beside the shelf.")


def _say(words: str) -> None:
    print(words, flush=True)
