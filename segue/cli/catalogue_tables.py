"""What ``segue catalogue`` and ``segue neighbours`` print."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table

from segue.catalogue.suiting import FREE_TIME_COST, TEMPO_SHARE, key_words, tempo_words
from segue.cli.hints import command, print_next
from segue.cli.sentences import print_sentence
from segue.cli.tables import print_json
from segue.plan.heard_words import ENDING_WORDS, OPENING_WORDS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.catalogue import CatalogueReport, Neighbour, Neighbourhood


def print_report(
    report: CatalogueReport, folders: Sequence[Path], to: Path, *, json: bool, quiet: bool
) -> None:
    """Print what a run found, heard and had to leave out, and what to do next.

    Parameters
    ----------
    report : CatalogueReport
    folders : sequence of Path
        That were asked for.
    to : Path
        The catalogue.
    json, quiet : bool
    """
    if json:
        print_json({"catalogue": str(to), **asdict(report)})
        return
    print(_counts(report, folders, to))
    for problem in report.problems:
        print(f"  skipped {problem}")
    if quiet:
        return
    if report.n_keyless or report.n_free:
        print(
            f"No key was heard at an end of {_songs(report.n_keyless)}, no pulse at an end of "
            f"{_songs(report.n_free)}: no distance is told there."
        )
    if report.n_songs > len(report.problems):
        print_next("What could follow a song", "neighbours", "SONG", "--catalogue", to)


def print_neighbours(found: Neighbourhood, *, json: bool, quiet: bool) -> None:
    """Print the songs that could be beside one, nearest first, and what to do next.

    Parameters
    ----------
    found : Neighbourhood
    json, quiet : bool
    """
    if json:
        print_json([_values(one) for one in found.neighbours])
        return
    console = Console(soft_wrap=False)
    if not found.neighbours:
        print(f"There is no other song in the catalogue than '{found.title}'.")
        return
    print_sentence(console, "", _about(found))
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("", justify="right", no_wrap=True)
    is_after = found.where == "after"
    for heading in ("song", "cost", "key", "tempo", "level", "starts" if is_after else "ends"):
        table.add_column(heading, overflow="fold", no_wrap=heading == "cost")
    for rank, one in enumerate(found.neighbours, start=1):
        table.add_row(str(rank), *_cells(one))
    console.print(table, markup=False, highlight=False)
    if quiet:
        return
    print_sentence(console, "", _how_to_read(found))
    pair = (found.path, found.neighbours[0].path)
    print_next(
        "Three ways across to the first" if is_after else "Three ways across from the first",
        "between",
        *(pair if is_after else pair[::-1]),
        "--out",
        "DIR",
    )


def print_all_pairs(n_songs: int, n_best: int, catalogue: Path, *, json: bool) -> None:
    """Print how many songs were compared, and where the result is.

    Parameters
    ----------
    n_songs, n_best : int
    catalogue : Path
    json : bool
    """
    if json:
        values = {"n_songs": n_songs, "n_best": n_best, "table": "follows", "by_title": "followers"}
        print_json({"catalogue": str(catalogue), **values})
        return
    n_kept = min(n_best, n_songs - 1)
    print(
        f"{_songs(n_songs)} compared. The best {n_kept} after each are in {catalogue}: 'followers' "
        "by title, 'follows' by content, to be read with any program for SQLite."
    )


def print_older(n_songs: int, catalogue: Path) -> None:
    """Say that songs were heard by another Segue, if any were, and what to do.

    Parameters
    ----------
    n_songs : int
    catalogue : Path
    """
    if n_songs:
        again = command("catalogue", "FOLDER", "--to", catalogue)
        print(f"{_songs(n_songs)} heard by another version of Segue; hear them anew: {again}")


def _counts(report: CatalogueReport, folders: Sequence[Path], to: Path) -> str:
    if not report.n_songs:
        where = ", ".join(str(folder) for folder in folders)
        gone = f" {_songs(report.n_removed)} removed." if report.n_removed else ""
        return f"No songs in {where}; name a folder with audio files, such as WAV or FLAC.{gone}"
    n_known = report.n_songs - report.n_heard - len(report.problems)
    parts = (
        (report.n_heard, "heard now"),
        (max(n_known, 0), "known already"),
        (report.n_moved, "moved"),
        (report.n_removed, "removed"),
        (len(report.problems), "skipped"),
    )
    told = ", ".join(f"{n} {words}" for n, words in parts if n)
    return f"{_songs(report.n_songs)} in {to}: {told}."


def _about(found: Neighbourhood) -> str:
    side = found.side
    is_after = found.where == "after"
    how = (ENDING_WORDS if is_after else OPENING_WORDS).get(side.kind, side.kind)
    key = "no key heard" if side.key is None else key_words(side)
    place = "its end" if is_after else "its start"
    return f"{found.where.title()} '{found.title}' (at {place}: {key}, {tempo_words(side)}; {how}):"


def _how_to_read(found: Neighbourhood) -> str:
    words = "Cost: from 0, near, to 1, far, in key, tempo, level and how one stops and one starts."
    if found.where == "before":
        words += " Steps lead from the song listed into this one."
    sides = (found.side, *(one.side for one in found.neighbours))
    if any(side.key is None for side in sides):
        words += " A key that was not heard costs nothing."
    if any(side.tempo_bpm is None for side in sides):
        words += f" Into or out of free time the tempo costs {TEMPO_SHARE * FREE_TIME_COST:.2f}."
    return words


def _cells(one: Neighbour) -> tuple[str, ...]:
    return (
        one.title,
        f"{one.cost:.2f}",
        _with_step(key_words(one.side), one.step.key),
        _with_step(tempo_words(one.side), one.step.tempo),
        one.step.level,
        one.side.kind,
    )


def _with_step(words: str, step: str) -> str:
    return f"{words}, {step}" if step else words


def _values(one: Neighbour) -> dict[str, Any]:
    return {
        "title": one.title,
        "path": one.path,
        "cost": one.cost,
        "key": None if one.side.key is None else str(one.side.key),
        "tempo_bpm": one.side.tempo_bpm,
        "reasons": list(one.reasons),
    }


def _songs(n_songs: int) -> str:
    return f"{n_songs} song" if n_songs == 1 else f"{n_songs} songs"
