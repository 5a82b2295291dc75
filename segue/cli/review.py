"""``segue review``: a recorded rehearsal against the plan."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.options import Json, Quiet, Run, Which
from segue.errors import OptionError, printable

if TYPE_CHECKING:
    from segue.review.moves import Clock
    from segue.review.report import Rehearsal, Review
    from segue.review.review_files import ReviewFiles
    from segue.review.trend import Comparison, Trend


def review(
    run: Run,
    take: Annotated[Path, typer.Argument(help="A recording of the band playing it.")],
    option: Which = None,
    against: Annotated[
        Path | None, typer.Option(help="An earlier review (JSON): better or worse since?")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the review; beside the take unless told.")
    ] = None,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Tell how a rehearsal went: bars early or late, the singer's entry, holes and faults."""
    if out is not None and out.exists() and not out.is_dir():
        raise OptionError(f"--out {out} is a file: name a folder.")
    from segue.cli.hints import print_next, progress_bar
    from segue.review import ReviewRequest, compared, read_review, review_take, write_review
    from segue.runfolder import read_document
    from segue.runfolder.run_document import candidate_of

    earlier = None if against is None else read_review(against)
    with progress_bar(1, quiet=quiet) as tell:
        tell(f"listening to {printable(take.name)}")
        told = review_take(ReviewRequest(run=run, take=take, rank=option))
    change = None if earlier is None else compared(told, earlier)
    folder = take.parent if out is None else out
    path = folder / f"{take.stem} review.json"
    before = () if earlier is None else (earlier,)
    files = write_review(path, told, run=run, take=take, earlier=before)
    if json:
        _print_json(told, change)
        return
    label = candidate_of(read_document(run), told.best_try.candidate).label
    _print_review(told, change, files, label=label)
    if not quiet:
        print_next("The next take", "review", run, "NEXT.wav", "--against", path)


def _print_json(told: Rehearsal, change: Comparison | None) -> None:
    from pydantic import TypeAdapter

    from segue.cli.tables import print_json
    from segue.review.report import Rehearsal
    from segue.review.trend import Comparison

    value = TypeAdapter(Rehearsal).dump_python(told, mode="json")
    if change is not None:
        value["against"] = TypeAdapter(Comparison).dump_python(change, mode="json")
        value["against"]["verdict"] = change.verdict
    print_json(value)


def _print_review(
    told: Rehearsal, change: Comparison | None, files: ReviewFiles, *, label: str
) -> None:
    best = told.best_try
    print(f"{told.take}: option {label}, {best.recipe}, match {best.match:.2f} of 1")
    if len(told.tries) > 1:
        for number, one in enumerate(told.tries, start=1):
            is_best = ", the best" if number == told.best else ""
            print(f"try {number} at {one.offset_s:.0f} s{is_best}: {_first_words(one)}")
    print(f"starts at {_rounded(best.offset_s, 2):.2f} s; {_time_words(best)}")
    _print_bars(best)
    for line in [*_lines(best), *_change_lines(change), *_trend_lines(files.trend)]:
        print(line)
    for finding in best.findings[1:]:
        print(f"also: {finding.words}")
    print(f"Next time: {best.advice}")
    print(f"To hear it bar by bar: {files.page}")


def _first_words(told: Review) -> str:
    return told.findings[0].sentence if told.findings else "clean"


def _rounded(value: float, digits: int) -> float:
    """A number as it will be printed, without a minus before nothing."""
    return round(value, digits) + 0.0


def _time_words(told: Review) -> str:
    over_s = _rounded(told.played_s - told.planned_s, 1)
    if not over_s:
        untold = ", where it could be told" if told.untold_bars else ""
        return f"{told.played_s:.1f} s played, as planned{untold}"
    way = "long" if over_s > 0 else "short"
    return (
        f"{told.played_s:.1f} s played, {abs(over_s):.1f} s {way} of {told.planned_s:.1f} s planned"
    )


def _print_bars(told: Review) -> None:
    from rich.console import Console

    from segue.cli.hints import plain_table
    from segue.plan.bridge_words import SECTION_WORDS
    from segue.review.timing import JUST_NOTICED_MS

    whole = range(told.first_bar, told.last_bar + 1)
    table = plain_table("bar", "section", "ms late", "")
    for n in (0, 2):
        table.columns[n].justify = "right"
    for bar in told.bars:
        if bar.number not in whole:
            continue
        late = bar.late_ms
        cell = "not told" if late is None else f"{round(late):+d}"
        sign = (
            "not told"
            if late is None
            else ""
            if abs(late) <= JUST_NOTICED_MS
            else "late"
            if late > 0
            else "early"
        )
        table.add_row(str(bar.number), SECTION_WORDS[bar.section], cell, sign)
    Console(soft_wrap=True).print(table, markup=False)


def _lines(told: Review) -> list[str]:
    from segue.plan.bridge_words import SECTION_WORDS

    lines = _clock_lines(told.clock)
    if told.singer is not None and told.missing_singer is None:
        lines.append(_singer_words(told))
    levels = ", ".join(
        f"{SECTION_WORDS[level.section]} {_rounded(level.against_plan_lu, 1):+.1f}"
        for level in told.levels
    )
    if levels:
        lines.append(f"level against the plan (LU): {levels}")
    return [*lines, *told.notes]


def _clock_lines(clock: Clock) -> list[str]:
    """The band's drift and the recorder's, or both as one where nothing tells them apart."""
    slip_ms = round(clock.slip_ms_a_minute)
    if clock.is_either and slip_ms:
        words = "by either the band or the recorder (too little to tell by the pitch)"
        return [f"drift: {slip_ms:+d} ms a minute, {words}"]
    lines = [f"drift: {round(clock.drift_ms_a_minute):+d} ms a minute"]
    if clock.recorder_ratio != 1.0:
        percent = 100 * (clock.recorder_ratio - 1)
        way = "slow" if percent > 0 else "fast"
        lines.append(f"the recorder runs {abs(percent):.2f} % {way} (the pitch moved along)")
    return lines


def _singer_words(told: Review) -> str:
    singer = told.singer
    if singer is None:
        return ""
    words = (
        f"singer in bar {singer.bar}: {_rounded(singer.late_ms, 0):+.0f} ms against the beat, "
        f"first note {_rounded(singer.cents, 0):+.0f} cents"
    )
    if singer.phrase_cents is not None:
        words += f", first phrase {_rounded(singer.phrase_cents, 0):+.0f} cents"
    return words + (" (unsure)" if not singer.is_sure else "")


def _change_lines(change: Comparison | None) -> list[str]:
    if change is None:
        return []
    lines = [f"{change.verdict} than {change.earlier_take}:" if change.verdict != "same"
             else f"the same as {change.earlier_take}:"]  # fmt: skip
    return lines + [
        f"  {c.name}: {c.verdict}, {c.before:+.0f} to {c.now:+.0f} {c.unit}".rstrip()
        for c in change.changes
        if c.verdict != "same"
    ]


def _trend_lines(trend: Trend | None) -> list[str]:
    """What the reviews that lie beside this one come to."""
    if trend is None:
        return []
    return [f"over {trend.words}", *(f"  {line.words}" for line in trend.lines)]
