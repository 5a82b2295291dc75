"""``segue taste``: how well the score agrees with a band, and weights of their own.

These are one JSON file in the user's configuration, written only when asked.
"""

from __future__ import annotations

import json as json_text
import math
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from segue.cli.options import Json
from segue.errors import InputError, OptionError, counted, disk_faults, printable

if TYPE_CHECKING:
    from segue.score.learned_weights import Agreement, Decision, FittedWeights, Taste


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
    """Tell how often the score agreed with the band; after 5 choices, learn your taste."""
    from segue.score.learned_weights import (
        LEAST_DECISIONS,
        LEAST_FOR_A_TASTE,
        agreement,
        fitted_weights,
        taste_of,
    )
    from segue.score.weights import weights_for

    decisions = [decision for run in runs for decision in decisions_of(run)]
    if not decisions:
        named = printable(runs[0]) + (f" and {len(runs) - 1} more" if runs[1:] else "")
        told = "nothing was chosen yet: choose with 'segue choose', or hold a vote."
        raise OptionError(f"{named}: {told}")
    found = agreement(decisions, weights_for(None))
    n = len(decisions)
    fitted = fitted_weights(decisions) if n >= LEAST_DECISIONS else None
    one = taste_of(decisions) if LEAST_FOR_A_TASTE <= n < LEAST_DECISIONS else None
    if write and n < LEAST_FOR_A_TASTE:
        raise OptionError(f"{n} choices are too few to learn from: {LEAST_FOR_A_TASTE} are needed.")
    if write and one is not None and not one.is_found:
        raise OptionError(f"your {n} choices go by no one thing yet: there is nothing to keep.")
    learned = fitted or one
    if write and learned is not None:
        write_weights(weights_path(), learned.weights, n_decisions=n)
    written = weights_path() if write else None
    _print_taste(_Learned(agreed=found, fitted=fitted, one=one, written=written), json=json)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Learned:
    """What there is to tell: `fitted` from many choices, `one` from few, neither from fewer."""

    agreed: Agreement
    fitted: FittedWeights | None
    one: Taste | None
    written: Path | None


def decisions_of(run: Path) -> list[Decision]:
    """The votes of a run, or its choice where nobody voted; none where neither was made."""
    from segue.runfolder import read_document
    from segue.score.learned_weights import Decision

    document = read_document(run)
    scores = tuple(
        {m.name: m.score for m in record.scorecard.measures} for record in document.candidates
    )
    ranks = [record.rank for record in document.candidates]
    chosen = [] if document.choice is None else [document.choice.rank]
    if len(ranks) < 2:  # noqa: PLR2004 - one candidate is no choice
        return []
    return [
        Decision(scores=scores, chosen=ranks.index(rank))
        for rank in _votes(run) or chosen
        if rank in ranks
    ]


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


def _print_taste(told: _Learned, *, json: bool) -> None:
    from segue.cli.tables import print_json

    if json:
        print_json(_report(told))
        return
    for line in _lines(told):
        print(line)


def _lines(told: _Learned) -> list[str]:
    from segue.music.tempo import percent
    from segue.score.learned_weights import LEAST_FOR_A_TASTE

    found, fitted, one = told.agreed, told.fitted, told.one
    share = found.n_agreed / found.n_decisions
    interval = f"95 % interval {percent(found.low)} to {percent(found.high)}"
    first = (
        f"The score agreed with {found.n_agreed} of {found.n_decisions} choices: {percent(share)} "
        f"({interval}; by chance {percent(found.by_chance)})."
    )
    lines = [first]
    if fitted is not None:
        better = "better" if fitted.gain_nats > 0 else "no better"
        lines.append(
            f"Weights learned from you are {better} on choices they had not seen: "
            f"{fitted.held_out_fitted} of {found.n_decisions} against {fitted.held_out_table} "
            f"({fitted.gain_nats:+.3f} nats a choice)."
        )
    elif one is None:
        missing = LEAST_FOR_A_TASTE - found.n_decisions
        return [*lines, f"After {counted(missing, 'more choice')} Segue can learn your taste."]
    elif not one.is_found:
        return [*lines, f"They go by no one thing yet ({percent(one.sure)} sure): go on choosing."]
    else:
        likely = [(name, p) for name, p in one.measures.items() if p >= _WORTH_TELLING * one.sure]
        names = " or ".join(f"{name.replace('_', ' ')} ({percent(p)})" for name, p in likely[:3])
        lines.append(f"You seem to go by {names or 'one thing'}, and the score can, too.")
    if told.written is None:
        return [*lines, "Nothing was changed; keep it with --write."]
    return [*lines, f"Written to {told.written}; delete the file to go back."]


_WORTH_TELLING: Final = 0.1  # share of what is sure from which a measure is named; by judgement


def _report(told: _Learned) -> dict[str, Any]:
    found, fitted, one = told.agreed, told.fitted, told.one
    report: dict[str, Any] = {
        "n_agreed": found.n_agreed,
        "n_decisions": found.n_decisions,
        "interval": [round(found.low, 4), round(found.high, 4)],
        "by_chance": round(found.by_chance, 4),
        "fitted": None,
        "taste": None,
        "written": None if told.written is None else str(told.written),
    }
    if fitted is not None:
        report["fitted"] = {
            "weights": {name: round(value, 4) for name, value in fitted.weights.items()},
            "held_out_fitted": fitted.held_out_fitted,
            "held_out_table": fitted.held_out_table,
            "gain_nats": round(fitted.gain_nats, 4),
        }
    if one is not None:
        report["taste"] = {
            "is_found": one.is_found,
            "sure": round(one.sure, 4),
            "measures": {name: round(value, 4) for name, value in one.measures.items()},
            "weights": {name: round(value, 4) for name, value in one.weights.items()},
        }
    return report


SCHEMA_VERSION = 1  # of the file that a band's weights are kept in
_LARGEST_BYTES: Final = 1 << 16  # of such a file; far beyond use
_OF_ODD_JSON: Final = (TypeError, LookupError, AttributeError, ArithmeticError, RecursionError)
"""What becomes of a list where a table is expected, of a number without end, of a deep nest."""


def weights_path() -> Path:
    """Where the band's own weights are, if there are any."""
    import platformdirs

    return platformdirs.user_config_path("segue") / "weights.json"


def read_weights(path: Path) -> dict[str, float] | None:
    """The band's own weights; None if there is no file.

    Raises
    ------
    InputError
        If the file is there and cannot be used.
    """
    from segue.files.whole_file import plain_bytes

    if not path.exists():
        return None
    try:
        found = json_text.loads(plain_bytes(path, most_bytes=_LARGEST_BYTES).decode("utf-8"))
        return _checked(found)
    except (OSError, ValueError, *_OF_ODD_JSON) as error:
        raise InputError(
            path, f"holds no weights ({error}): write them anew with 'segue taste', or delete it."
        ) from error


def write_weights(path: Path, weights: dict[str, float], *, n_decisions: int) -> None:
    """Write the band's own weights, whole or not at all."""
    from segue.files.whole_file import write_whole

    found = {
        "schema_version": SCHEMA_VERSION,
        "n_decisions": n_decisions,
        "weights": {name: round(value, 4) for name, value in weights.items()},
    }
    with disk_faults(path, "could not be written ({})."):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, (json_text.dumps(found, indent=1) + "\n").encode())


def _checked(found: Any) -> dict[str, float]:  # noqa: ANN401 - any JSON value
    from segue.score.weights import WEIGHTS

    if found["schema_version"] != SCHEMA_VERSION:
        raise ValueError(f"schema {found['schema_version']}, not {SCHEMA_VERSION}")
    weights = {str(name): float(value) for name, value in found["weights"].items()}
    if set(weights) != set(WEIGHTS):
        odd = sorted(set(weights) ^ set(WEIGHTS))
        raise ValueError(f"measures that do not match: {', '.join(odd)}")
    if not all(math.isfinite(v) and v >= 0 for v in weights.values()) or not sum(weights.values()):
        raise ValueError("weights must be 0 or more, and not all 0")
    return weights
