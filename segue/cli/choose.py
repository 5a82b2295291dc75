"""``segue choose``: the choice of the band, from the terminal."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import Annotated

import typer


def choose(
    run: Annotated[Path, typer.Argument(help="A run folder.")],
    candidate: Annotated[int, typer.Argument(help="Number of the candidate.")],
    why: Annotated[str, typer.Option(help="Why, in your words.")] = "",
    quiet: Annotated[bool, typer.Option("--quiet", help="No hints.")] = False,
) -> None:
    """Write the choice of the band into a run."""
    from rich.console import Console

    from segue.cli.hints import print_next
    from segue.runfolder import Choice, write_choice

    document = write_choice(run, Choice(rank=candidate, why=why))
    show_on_evening_page(run)
    name = next(r.plan.recipe for r in document.candidates if r.rank == candidate)
    console = Console(soft_wrap=True)
    console.print(f"Chosen: {candidate}, {name}.", markup=False, highlight=False)
    if not quiet:
        print_next("Make it ready for the stage", "stage", run, "--out", "PACK")


def show_on_evening_page(run: Path) -> None:
    """Write the page of the evening anew, where a run belongs to one.

    Parameters
    ----------
    run : Path
        A run folder whose choice has changed.

    Raises
    ------
    SegueError
        If the evening cannot be read, or its page not written.
    """
    evening = run.resolve().parent
    if (evening / "set.json").is_file():
        from segue.setlist.show.evening_page import rewrite_evening_page

        rewrite_evening_page(evening)
