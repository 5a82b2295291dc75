"""``segue explain``: what costs an option most, where, what to do about it, and every mark."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from segue.cli.options import Json, NoHints, Run
from segue.errors import printable
from segue.score.weights import costliest_first, costs

if TYPE_CHECKING:
    from segue.runfolder import CandidateRecord, RunDocument
    from segue.runfolder.remedies import Remedy
    from segue.score import Measure

_LEAST_TOLD: Final = 0.01  # of the overall score; less is told as less
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

    document = read_document(run)
    record = candidate_of(document, option)
    if json:
        print_json(card_report(document, record))
        return
    _print_weak(run, document, record)
    _print_card(document, record)
    if record.made is not None:
        names = dict.fromkeys(x.called for x in record.made.recipe.layers)
        print(f"\nLayers, for 'segue change': {printable(', '.join(names))}")
    if not quiet:
        print(f"\nHear it: {printable(run / record.music_file)}")
        print_next("Choose it", "choose", run, record.label)


def card_report(document: RunDocument, record: CandidateRecord) -> dict[str, Any]:
    """An option's card as JSON values, what costs most first."""
    card = record.scorecard
    return {
        "rank": record.rank,
        "label": record.label,
        "recipe": record.plan.recipe,
        "score": round(card.overall, 4),
        "faults": [{"name": fault.name, "sentence": fault.sentence} for fault in card.faults],
        "measures": [
            {**_measure_report(record, m, remedy), "costs": round(cost, 4)}
            for m, cost, remedy in _costed(document, record)
        ],
        "not_measured": [
            {"name": one.name, "label": one.label, "why": one.why} for one in card.not_measured
        ],
    }


def _measure_report(record: CandidateRecord, m: Measure, remedy: Remedy | None) -> dict[str, Any]:
    from segue.runfolder.remedies import bar_of

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
        else {
            "words": remedy.words,
            "command": remedy.command,
            "options": list(remedy.options),
        },
    }


def _costed(
    document: RunDocument, record: CandidateRecord
) -> tuple[tuple[Measure, float, Remedy | None], ...]:
    """The measures, what each costs the overall score and what to do; what costs most first."""
    from segue.runfolder.remedies import remedies_of

    measures, weights = record.scorecard.measures, document.weights_of(record)
    cost = costs(measures, weights=weights)
    ordered = costliest_first(measures, weights=weights)
    remedies = remedies_of(document, record, ordered)
    return tuple((m, cost[m.name], told) for m, told in zip(ordered, remedies, strict=True))


def _cost_words(cost: float) -> str:
    return f"{cost:.2f}" if cost >= _LEAST_TOLD else f"under {_LEAST_TOLD:.2f}"


def _print_weak(run: Path, document: RunDocument, record: CandidateRecord) -> None:
    """What keeps it back, what costs most first, and for each a line to copy."""
    from rich.console import Console

    from segue.cli.hints import command, print_sentence
    from segue.runfolder.remedies import WEAK_MARK, bar_of

    console, card = Console(), record.scorecard
    console.print(
        f"{record.label}  {record.plan.recipe}  {card.overall:.2f} of 1",
        style="bold",
        markup=False,
        highlight=False,
    )
    for fault in card.faults:
        print_sentence(console, "  ! ", fault.words)
    # the distance of the keys is the pair's: no change of the option mends it
    weak = [
        found
        for found in _costed(document, record)
        if found[0].score < WEAK_MARK and found[0].name != "key_distance"
    ][:_MOST_WEAK]
    told: dict[Remedy | str, list[tuple[Measure, float]]] = {}  # what the same change goes at
    for m, cost, remedy in weak:
        told.setdefault(remedy or m.name, []).append((m, cost))
    for proposed, measures in told.items():
        for m, cost in measures:
            bar = bar_of(record, m)
            where = "" if bar is None else f"Bar {bar}: "
            mark = f"{m.label} {m.score:.2f}, costs {_cost_words(cost)}"
            print_sentence(console, "  - ", f"{where}{m.sentence} ({mark})")
        if isinstance(proposed, str):
            continue
        if proposed.command == "between":
            made = f"'segue between ... {' '.join(proposed.options)}'"
            print_sentence(console, "    ", f"To {proposed.words}, make the run again: {made}.")
            continue
        print_sentence(console, "    ", f"To {proposed.words}:")
        # not wrapped: a line to copy
        print(f"    {command('change', run, record.label, *proposed.options)}")
    if not weak:
        print_sentence(console, "  - ", "No weak place was found.")
    print()


def _print_card(document: RunDocument, record: CandidateRecord) -> None:
    from rich.console import Console

    from segue.cli.hints import plain_table, print_sentence
    from segue.runfolder.remedies import bar_of

    console = Console(soft_wrap=False)
    table = plain_table()
    for heading in ("costs", "mark", "measure", "value", "bar", "finding"):
        is_narrow = heading not in {"measure", "finding"}
        table.add_column(heading, overflow="fold", no_wrap=is_narrow)
    for m, cost, _ in _costed(document, record):
        bar = bar_of(record, m)
        value = f"{m.value:.2f} {m.unit}".rstrip()
        place = "-" if bar is None else f"{bar}"
        table.add_row(f"{cost:.3f}", f"{m.score:.2f}", m.label, value, place, m.sentence)
    console.print(table, markup=False)
    for one in record.scorecard.not_measured:
        print_sentence(console, "", f"Not measured: {one.label}, {one.why}.")
