"""``segue stage``: the chosen option becomes what the rig needs."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from segue.cli.options import Json, NoHints, RunOrEvening, Which, check_within
from segue.errors import OptionError
from segue.pages import FOR_EARS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.setlist.show.evening_pack import EveningPack
    from segue.stage.midi_score import Marker
    from segue.stage.pack import StagePack, StageRequest

QUIETEST_DBA, LOUDEST_DBA = 50.0, 130.0  # in-ear levels that can be meant


def stage(
    run: RunOrEvening,
    out: Annotated[Path, typer.Option(help="Folder for the pack.")],
    option: Which = None,
    channels: Annotated[
        str | None,
        typer.Option(
            help="Also write all in one file, in an order: 'music left, music right, click, cue'. "
            "Players made for listening mix its click into the room."
        ),
    ] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Of the cue sheet.")] = "a4",
    in_ear_dba: Annotated[
        float | None,
        typer.Option("--in-ear-dba", help="A level measured in the ear, for the exposure line."),
    ] = None,
    json: Json = False,
    quiet: NoHints = False,
) -> None:
    """Write the pack for the rig, of one segue or of an evening: sound, tempo map, cue sheets."""
    check_within("--in-ear-dba", in_ear_dba, QUIETEST_DBA, LOUDEST_DBA, "dB(A)")
    from segue.setlist.set_document import is_evening
    from segue.stage.pack import StageRequest, stage_pack

    order = () if channels is None else tuple(c.strip() for c in channels.split(","))
    request = StageRequest(
        run=run, out=out, rank=option, channels=order, paper=paper, in_ear_dba=in_ear_dba
    )
    if is_evening(run):
        _print_evening(_evening_pack(request), out, json=json, quiet=quiet)
    else:
        _print_pack(stage_pack(request), run, out, json=json, quiet=quiet)


def _evening_pack(request: StageRequest) -> EveningPack:
    from segue.setlist.set_document import read_evening
    from segue.setlist.show.evening_pack import evening_pack

    if request.rank is not None:
        raise OptionError(
            "--option is for one segue: in an evening each segue has its own choice, "
            "made with 'segue choose'."
        )
    return evening_pack(request, read_evening(request.run))


def _print_evening(pack: EveningPack, out: Path, *, json: bool, quiet: bool) -> None:
    from segue.cli.tables import print_json
    from segue.music.tempo import clock

    if json:
        print_json(
            {
                "out": str(out),
                "files": list(pack.files),
                "running_s": round(pack.running_s, 3),
                "duration_s": round(pack.duration_s, 3),
                "markers": _marks(pack.map.markers),
                "notes": list(pack.notes),
            }
        )
        return
    told = f"Evening of {len(pack.map.songs)} songs, running time {clock(pack.running_s)}"
    print(f"{told}, in {out}:")
    for name in pack.files:
        print(f"  {name}")
    for note in pack.notes:
        print(f"- {note}")
    if not quiet:
        print(FOR_EARS)


def _marks(markers: Sequence[Marker]) -> list[dict[str, object]]:
    return [{"time_s": round(mark.time_s, 6), "name": mark.name} for mark in markers]


def _print_pack(pack: StagePack, run: Path, out: Path, *, json: bool, quiet: bool) -> None:
    from segue.cli.tables import print_json

    if json:
        print_json(
            {
                "out": str(out),
                "candidate": pack.rank,
                "label": pack.label,
                "files": list(pack.files),
                "duration_s": round(pack.duration_s, 3),
                "markers": _marks(pack.markers),
            }
        )
        return
    from segue.cli.hints import print_next

    print(f"Option {pack.label}, {pack.duration_s:.1f} s, in {out}:")
    for name in pack.files:
        print(f"  {name}")
    if quiet:
        return
    print(f"Every file starts on bar 1. {FOR_EARS}")
    print_next("After the rehearsal", "review", run, "TAKE.wav")
