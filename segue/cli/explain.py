"""``segue explain``: an option's weak bars, the worst first, what to do about each, every mark."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from segue.cli.options import Json, NoHints, Run
from segue.errors import printable

if TYPE_CHECKING:
    from segue.runfolder import CandidateRecord
    from segue.runfolder.remedies import Remedy
    from segue.score import Measure

_MOST_WEAK = 6  # findings with what to do about them; more are no help


def explain(
    run: Run,
    option: Annotated[str, typer.Argument(help="Number of the option, or a version: 2b.")] = "1",
    json: Json = False,
    quiet: NoHints = False,
) -> None:
    """Tell in which bars an option is weakest, what to do about it, and every mark."""
    from segue.cli.hints import print_next
    from segue.cli.tables import print_json
    from segue.runfolder import read_document
    from segue.runfolder.run_document import candidate_of

    record = candidate_of(read_document(run), option)
    if json:
        print_json(card_report(record))
        return
    _print_weak(run, record)
    _print_card(record)
    if record.made is not None:
        names = dict.fromkeys(x.called for x in record.made.recipe.layers)
        print(f"\nLayers, for 'segue change': {printable(', '.join(names))}")
    if not quiet:
        print(f"\nHear it: {printable(run / record.music_file)}")
        print_next("Choose it", "choose", run, record.label)


def card_report(record: CandidateRecord) -> dict[str, Any]:
    """An option's card as JSON values, worst measures first."""
    card = record.scorecard
    return {
        "rank": record.rank,
        "label": record.label,
        "recipe": record.plan.recipe,
        "score": round(card.overall, 4),
        "faults": [{"name": fault.name, "sentence": fault.sentence} for fault in card.faults],
        "measures": [_measure_report(record, measure) for measure in _worst_first(record)],
        "not_measured": [
            {"name": one.name, "label": one.label, "why": one.why} for one in card.not_measured
        ],
    }


def _measure_report(record: CandidateRecord, m: Measure) -> dict[str, Any]:
    from segue.runfolder.remedies import bar_of, remedy_of

    remedy = remedy_of(record, m)
    return {
        "name": m.name,
        "label": m.label,
        "value": round(m.value, 4),
        "unit": m.unit,
        "score": round(m.score, 4),
        "worst_bar": bar_of(record, m),
        "threshold": m.threshold,
        "source": m.source,
        "sentence": m.sentence,
        "remedy": None
        if remedy is None
        else {"words": remedy.words, "options": list(remedy.options)},
    }


def _worst_first(record: CandidateRecord) -> list[Measure]:
    return sorted(record.scorecard.measures, key=lambda m: m.score)


def _print_weak(run: Path, record: CandidateRecord) -> None:
    """What keeps it back, bar by bar, and for each a line to copy."""
    from rich.console import Console

    from segue.cli.hints import command, print_sentence
    from segue.runfolder.remedies import WEAK_MARK, bar_of, remedy_of

    console, card = Console(), record.scorecard
    console.print(
        f"{record.label}  {record.plan.recipe}  {card.overall:.2f} of 1",
        style="bold",
        markup=False,
        highlight=False,
    )
    for fault in card.faults:
        print_sentence(console, "  ! ", f"It cannot be first: {fault.sentence}.")
    # the distance of the keys is the pair's: no change of the option mends it
    weak = [m for m in _worst_first(record) if m.score < WEAK_MARK and m.name != "key_distance"]
    told: dict[Remedy | str, list[Measure]] = {}  # together what the same change goes at
    for m in weak[:_MOST_WEAK]:
        told.setdefault(remedy_of(record, m) or m.name, []).append(m)
    for remedy, measures in told.items():
        for m in measures:
            bar = bar_of(record, m)
            where = "" if bar is None else f"Bar {bar}: "
            print_sentence(console, "  - ", f"{where}{m.sentence} ({m.label} {m.score:.2f})")
        if not isinstance(remedy, str):
            print_sentence(console, "    ", f"To {remedy.words}:")
            # not wrapped: a line to copy
            print(f"    {command('change', run, record.label, *remedy.options)}")
    if not weak:
        print_sentence(console, "  - ", "No weak place was found.")
    print()


def _print_card(record: CandidateRecord) -> None:
    from rich.console import Console

    from segue.cli.hints import plain_table, print_sentence
    from segue.runfolder.remedies import bar_of

    console = Console(soft_wrap=False)
    table = plain_table()
    for heading in ("mark", "measure", "value", "bar", "finding"):
        table.add_column(heading, overflow="fold", no_wrap=heading in {"mark", "bar", "value"})
    for m in _worst_first(record):
        bar = bar_of(record, m)
        value = f"{m.value:.2f} {m.unit}".rstrip()
        table.add_row(
            f"{m.score:.2f}", m.label, value, "-" if bar is None else f"{bar}", m.sentence
        )
    console.print(table, markup=False)
    for one in record.scorecard.not_measured:
        print_sentence(console, "", f"Not measured: {one.label}, {one.why}.")
