"""``segue explain``: an option's card, with the bar in which each measure was worst."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from segue.errors import printable

if TYPE_CHECKING:
    from segue.runfolder import CandidateRecord
    from segue.score import Measure

_SAME_S = 1e-3  # for rounding at a bar line


def explain(
    run: Annotated[Path, typer.Argument(help="The folder with the segues.")],
    option: Annotated[str, typer.Argument(help="Number of the option, or a version: 2b.")] = "1",
    json: Annotated[bool, typer.Option("--json", help="Print JSON for machines.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No hints.")] = False,
) -> None:
    """Tell why an option scores as it does, and in which bars it is weakest."""
    from segue.cli.hints import print_next
    from segue.cli.tables import print_json
    from segue.runfolder import read_document
    from segue.runfolder.run_document import candidate_of

    record = candidate_of(read_document(run), option)
    if json:
        print_json(card_report(record))
        return
    _print_card(record)
    if record.made is not None:
        names = dict.fromkeys(x.name or x.source for x in record.made.recipe.layers)
        print(f"\nLayers, for 'segue change': {printable(', '.join(names))}")
    if not quiet:
        print(f"\nHear it: {printable(run / record.music_file)}")
        print_next("Choose it", "choose", run, record.label)


def bar_of(record: CandidateRecord, measure: Measure) -> int | None:
    """Number of the bar in which a measure was worst; None where it has no place."""
    if measure.worst_beat is None:
        return None
    time_s = record.plan.seconds_at(measure.worst_beat)
    begun = [bar.number for bar in record.bars if bar.time_s <= time_s + _SAME_S]
    return begun[-1] if begun else None


def card_report(record: CandidateRecord) -> dict[str, Any]:
    """An option's card as JSON values, worst measures first."""
    return {
        "rank": record.rank,
        "label": record.label,
        "recipe": record.plan.recipe,
        "score": round(record.scorecard.overall, 4),
        "measures": [
            {
                "name": m.name,
                "label": m.label,
                "value": round(m.value, 4),
                "unit": m.unit,
                "score": round(m.score, 4),
                "worst_bar": bar_of(record, m),
                "threshold": m.threshold,
                "source": m.source,
                "sentence": m.sentence,
            }
            for m in _worst_first(record)
        ],
    }


def _worst_first(record: CandidateRecord) -> list[Measure]:
    return sorted(record.scorecard.measures, key=lambda m: m.score)


def _print_card(record: CandidateRecord) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(soft_wrap=False)
    console.print(
        f"{record.label}  {record.plan.recipe}  {record.scorecard.overall:.2f} of 1",
        style="bold",
        markup=False,
        highlight=False,
    )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("mark", "measure", "value", "bar", "finding"):
        table.add_column(heading, overflow="fold", no_wrap=heading in {"mark", "bar", "value"})
    for m in _worst_first(record):
        bar = bar_of(record, m)
        value = f"{m.value:.2f} {m.unit}".rstrip()
        table.add_row(
            f"{m.score:.2f}", m.label, value, "-" if bar is None else f"{bar}", m.sentence
        )
    console.print(table, markup=False)
