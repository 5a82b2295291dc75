"""``segue stage``: the chosen candidate becomes what the rig needs."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from segue.errors import OptionError

if TYPE_CHECKING:
    from segue.stage.pack import StagePack

QUIETEST_DBA, LOUDEST_DBA = 50.0, 130.0


def stage(
    run: Annotated[Path, typer.Argument(help="A run folder.")],
    out: Annotated[Path, typer.Option(help="Folder for the pack.")],
    candidate: Annotated[
        int | None, typer.Option(help="Which candidate; the chosen one unless told.")
    ] = None,
    channels: Annotated[
        str | None,
        typer.Option(help="Channel order: 'music left, music right, click, cue'."),
    ] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Of the cue sheet.")] = "a4",
    in_ear_dba: Annotated[
        float | None,
        typer.Option("--in-ear-dba", help="A level measured in the ear, for the exposure line."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON for machines.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No hints.")] = False,
) -> None:
    """Write the stage pack of a candidate: sound, click, cue, tempo map, cue sheet."""
    if in_ear_dba is not None and not QUIETEST_DBA <= in_ear_dba <= LOUDEST_DBA:
        raise OptionError(
            f"--in-ear-dba {in_ear_dba:g} is outside {QUIETEST_DBA:g} to {LOUDEST_DBA:g} dB(A)."
        )
    from segue.stage.pack import CHANNELS, StageRequest, stage_pack

    order = CHANNELS if channels is None else tuple(c.strip() for c in channels.split(","))
    pack = stage_pack(
        StageRequest(
            run=run, out=out, rank=candidate, channels=order, paper=paper, in_ear_dba=in_ear_dba
        )
    )
    _print_pack(pack, out, json=json, quiet=quiet)


def _print_pack(pack: StagePack, out: Path, *, json: bool, quiet: bool) -> None:
    from rich.console import Console

    from segue.cli.tables import print_json

    if json:
        marks = [{"time_s": round(m.time_s, 6), "name": m.name} for m in pack.markers]
        print_json(
            {
                "out": str(out),
                "candidate": pack.rank,
                "files": list(pack.files),
                "duration_s": round(pack.duration_s, 3),
                "markers": marks,
            }
        )
        return
    console = Console(soft_wrap=True)
    console.print(
        f"Candidate {pack.rank}, {pack.duration_s:.1f} s, in {out}:", markup=False, highlight=False
    )
    for name in pack.files:
        console.print(f"  {name}", markup=False, highlight=False)
    if quiet:
        return
    console.print(
        "Every file starts on bar 1. Click and cue are for ears only: start in-ears low.",
        markup=False,
        highlight=False,
    )
