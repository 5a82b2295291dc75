"""``segue taste``: how well the score agrees with a band, and weights of their own."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from segue.cli.options import Json
from segue.errors import OptionError, printable

if TYPE_CHECKING:
    from segue.runfolder import RunDocument
    from segue.score.learned_weights import Agreement, Decision, FittedWeights


def taste(
    runs: Annotated[
        list[Path],
        typer.Argument(help="Folders with segues that were chosen or voted on."),
    ],
    write: Annotated[
        bool, typer.Option("--write", help="Keep the learned weights for 'segue between'.")
    ] = False,
    json: Json = False,
) -> None:
    """Tell how often the score agreed with the band; after 20 choices, learn your taste."""
    from segue.cli.weights_file import weights_path, write_weights
    from segue.score.learned_weights import LEAST_DECISIONS, agreement, fitted_weights
    from segue.score.weights import weights_for

    decisions = [decision for run in runs for decision in decisions_of(run)]
    if not decisions:
        named = printable(runs[0]) + (f" and {len(runs) - 1} more" if runs[1:] else "")
        told = "nothing was chosen yet: choose with 'segue choose', or hold a vote."
        raise OptionError(f"{named}: {told}")
    found = agreement(decisions, weights_for(None))
    fitted = fitted_weights(decisions) if len(decisions) >= LEAST_DECISIONS else None
    if write and fitted is None:
        raise OptionError(
            f"{len(decisions)} choices are too few to learn from: {LEAST_DECISIONS} are needed."
        )
    if write and fitted is not None:
        write_weights(weights_path(), fitted.weights, n_decisions=len(decisions))
    _print_taste(found, fitted, weights_path() if write else None, json=json)


def decisions_of(run: Path) -> list[Decision]:
    """The votes of a run, or its choice where nobody voted; none where neither was made."""
    from segue.runfolder import read_document
    from segue.score.learned_weights import Decision

    document = read_document(run)
    scores = tuple(
        {m.name: m.score for m in record.scorecard.measures} for record in document.candidates
    )
    ranks = [record.rank for record in document.candidates]
    if len(ranks) < 2:  # noqa: PLR2004 - one candidate is no choice
        return []
    return [
        Decision(scores=scores, chosen=ranks.index(rank))
        for rank in _ranks_chosen(run, document)
        if rank in ranks
    ]


def _ranks_chosen(run: Path, document: RunDocument) -> list[int]:
    votes = _votes(run)
    if votes:
        return votes
    return [] if document.choice is None else [document.choice.rank]


def _votes(run: Path) -> list[int]:
    """What each listener voted in the last round; empty without a ballot that can be read."""
    from segue.runfolder import BALLOT_NAME

    path = run / BALLOT_NAME
    if not path.is_file():
        return []
    last = "(SELECT max(id) FROM rounds)"
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as ballot:
            rows = ballot.execute(
                f"SELECT choice FROM votes WHERE round = {last} ORDER BY listener"  # noqa: S608 - a constant
            ).fetchall()
    except sqlite3.Error:
        return []
    return [int(row[0]) for row in rows]


def _print_taste(
    found: Agreement, fitted: FittedWeights | None, written: Path | None, *, json: bool
) -> None:
    from segue.cli.tables import print_json

    if json:
        print_json(_report(found, fitted, written))
        return
    from rich.console import Console

    console = Console(soft_wrap=True)
    for line in _lines(found, fitted, written):
        console.print(line, markup=False, highlight=False)


def _lines(found: Agreement, fitted: FittedWeights | None, written: Path | None) -> list[str]:
    from segue.music.percent import percent
    from segue.score.learned_weights import LEAST_DECISIONS

    share = found.n_agreed / found.n_decisions
    interval = f"95 % interval {percent(found.low)} to {percent(found.high)}"
    first = (
        f"The score agreed with {found.n_agreed} of {found.n_decisions} choices: {percent(share)} "
        f"({interval}; by chance {percent(found.by_chance)})."
    )
    lines = [first]
    if fitted is None:
        missing = LEAST_DECISIONS - found.n_decisions
        more = f"{missing} more choice{'' if missing == 1 else 's'}"
        return [*lines, f"After {more} Segue can learn your taste."]
    better = "better" if fitted.gain_nats > 0 else "no better"
    lines.append(
        f"Weights learned from you are {better} on choices they had not seen: "
        f"{fitted.held_out_fitted} of {found.n_decisions} against {fitted.held_out_table} "
        f"({fitted.gain_nats:+.3f} nats a choice)."
    )
    if written is None:
        return [*lines, "Nothing was changed; keep them with --write."]
    return [*lines, f"Written to {written}; delete the file to go back."]


def _report(found: Agreement, fitted: FittedWeights | None, written: Path | None) -> dict[str, Any]:
    report: dict[str, Any] = {
        "n_agreed": found.n_agreed,
        "n_decisions": found.n_decisions,
        "interval": [round(found.low, 4), round(found.high, 4)],
        "by_chance": round(found.by_chance, 4),
        "fitted": None,
        "written": None if written is None else str(written),
    }
    if fitted is not None:
        report["fitted"] = {
            "weights": {name: round(value, 4) for name, value in fitted.weights.items()},
            "held_out_fitted": fitted.held_out_fitted,
            "held_out_table": fitted.held_out_table,
            "gain_nats": round(fitted.gain_nats, 4),
        }
    return report
