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

    from segue.runfolder import Choice, write_choice

    document = write_choice(run, Choice(rank=candidate, why=why))
    if (run.resolve().parent / "set.json").is_file():
        from segue.setlist.evening_page import rewrite_evening_page

        rewrite_evening_page(run.resolve().parent)
    name = next(r.plan.recipe for r in document.candidates if r.rank == candidate)
    console = Console(soft_wrap=True)
    console.print(f"Chosen: {candidate}, {name}.", markup=False, highlight=False)
    if not quiet:
        console.print(
            f"Make it ready for the stage: segue stage '{run}' --out FOLDER",
            markup=False,
            highlight=False,
        )
