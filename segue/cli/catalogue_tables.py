"""What ``segue catalogue`` and ``segue neighbours`` print."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from rich.console import Console

from segue.catalogue.suiting import (
    FREE_TIME_COST,
    TEMPO_SHARE,
    EdgeTraits,
    key_words,
    semitones_between,
    tempo_words,
)
from segue.cli.hints import command, plain_table, print_next, print_sentence
from segue.cli.tables import print_json
from segue.errors import counted, printable, text_of
from segue.plan.heard_words import ENDING_WORDS, OPENING_WORDS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.catalogue import CatalogueReport, Neighbour, Neighbourhood

_STATES: Final = {"gone": "file not found", "changed": "changed since it was heard"}
_IS_ANEW: Final = (
    "It changed since the catalogue heard it, and this list goes by what it is now. Run 'segue "
    "catalogue' on its folder to keep that."
)


def print_report(
    report: CatalogueReport, folders: Sequence[Path], to: Path, *, json: bool, quiet: bool
) -> None:
    """Print what a run found, heard and had to leave out, and what to do next."""
    if json:
        print_json({"catalogue": str(to), **asdict(report)})
        return
    print(_counts(report, folders, to))
    for problem in report.problems:
        print(f"  skipped {problem}")
    if quiet:
        return
    lacking = ((report.n_keyless, "no key"), (report.n_free, "no pulse"))
    told = ", ".join(
        f"{what} was heard at an end of {counted(n, 'song')}" for n, what in lacking if n
    )
    if told:
        print(f"{told[0].upper()}{told[1:]}.")
    if report.n_heard or report.n_known:
        print_next("What could follow a song", "neighbours", "SONG", "--catalogue", to)


def print_neighbours(found: Neighbourhood, *, json: bool, quiet: bool) -> None:
    """Print the songs that could be beside one, nearest first, and what to do next."""
    if json:
        print_json(_all_values(found))
        return
    console = Console(soft_wrap=False)
    if not found.neighbours:
        print(f"There is no other song in the catalogue than '{found.title}'.")
        return
    print_sentence(console, "", _about(found))
    if found.is_anew:
        print_sentence(console, "", _IS_ANEW)
    table = plain_table()
    table.add_column("", justify="right", no_wrap=True)
    is_after = found.where == "after"
    for heading in ("song", "fit", "key", "tempo", "level", "starts" if is_after else "ends"):
        table.add_column(heading, overflow="fold", no_wrap=heading == "fit")
    for rank, one in enumerate(found.neighbours, start=1):
        table.add_row(str(rank), *_cells(one))
    console.print(table, markup=False, highlight=False)
    if quiet:
        return
    print_sentence(console, "", _how_to_read(found))
    there = next((one for one in found.neighbours if one.state != "gone"), None)
    if there is None:
        print("None of their files is where it was heard; is the disk plugged in?")
        return
    pair = (found.path, there.path)
    which = "the first" if there is found.neighbours[0] else f"'{there.title}'"
    print_next(
        f"Three segues {'to' if is_after else 'from'} {which}",
        "between",
        *(pair if is_after else pair[::-1]),
        "--out",
        "DIR",
    )


def print_all_pairs(n_songs: int, n_best: int, catalogue: Path, *, json: bool) -> None:
    """Print how many songs were compared, and where the result is."""
    if json:
        values = {
            "n_songs": n_songs,
            "n_best": n_best,
            "table": "follows",
            "by_title": "could_follow",
        }
        print_json({"catalogue": str(catalogue), **values})
        return
    n_kept = min(n_best, n_songs - 1)
    print(
        f"{counted(n_songs, 'song')} compared. The best {n_kept} after each are in {catalogue}, in "
        "the view 'could_follow', to be read with any program for SQLite."
    )


def print_older(n_songs: int, catalogue: Path) -> None:
    """Say that songs were heard by another Segue, if any were, and what to do."""
    if n_songs:
        again = command("catalogue", "FOLDER", "--to", catalogue)
        print(
            f"{counted(n_songs, 'song')} heard by another version of Segue; hear them anew: {again}"
        )


def _counts(report: CatalogueReport, folders: Sequence[Path], to: Path) -> str:
    if not report.n_songs:
        where = ", ".join(str(folder) for folder in folders)
        gone = f" {counted(report.n_removed, 'song')} removed." if report.n_removed else ""
        return f"No songs in {where}; name a folder with audio files, such as WAV or FLAC.{gone}"
    n_stems, n_others = len(report.stem_folders), report.n_in_file - report.n_songs
    parts = (
        (report.n_heard, "heard now"),
        (report.n_known, "known already"),
        (report.n_same, "the same as another"),
        (report.n_moved, "moved"),
        (report.n_removed, "removed"),
        (len(report.problems), "skipped"),
    )
    told = ", ".join(f"{n} {words}" for n, words in parts if n)
    stems = f"{n_stems} of them {'a folder' if n_stems == 1 else 'folders'} of stems"
    found = f"{counted(report.n_songs, 'song')}{f' ({stems})' if n_stems else ''}"
    if n_others:
        found += f" found; {report.n_in_file}"
    return f"{found} in {printable(to)}: {told}."


def _about(found: Neighbourhood) -> str:
    side = found.side
    is_after = found.where == "after"
    how = (ENDING_WORDS if is_after else OPENING_WORDS).get(side.kind, side.kind)
    key = "no key heard" if side.key is None else key_words(side)
    place = "its end" if is_after else "its start"
    return f"{found.where.title()} '{found.title}' (at {place}: {key}, {tempo_words(side)}; {how}):"


def _how_to_read(found: Neighbourhood) -> str:
    words = "Fit: 0 easy, 1 hard (key, tempo, level, ending, opening)."
    if found.where == "before":
        words += " Each step is from the song listed into this one."
    sides = (found.side, *(one.side for one in found.neighbours))
    if any(side.key is None for side in sides):
        words += " A key that was not heard counts as easy."
    if any(side.tempo_bpm is None for side in sides):
        words += f" Into or out of free time the tempo counts {TEMPO_SHARE * FREE_TIME_COST:.2f}."
    return words


def _cells(one: Neighbour) -> tuple[str, ...]:
    return (
        f"{one.title} ({_STATES[one.state]})" if one.state else one.title,
        f"{one.cost:.2f}",
        _with_step(key_words(one.side), one.step.key),
        _with_step(tempo_words(one.side), one.step.tempo),
        one.step.level,
        one.side.kind,
    )


def _with_step(words: str, step: str) -> str:
    return f"{words}, {step}" if step else words


def _all_values(found: Neighbourhood) -> dict[str, Any]:
    own = {"title": found.title, "path": text_of(found.path), **_edge_values(found.side)}
    return {
        "song": {**own, "where": found.where, "is_heard_anew": found.is_anew},
        "neighbours": [_values(found, one) for one in found.neighbours],
    }


def _values(found: Neighbourhood, one: Neighbour) -> dict[str, Any]:
    pair = (found.side, one.side) if found.where == "after" else (one.side, found.side)
    return {
        "title": one.title,
        "path": text_of(one.path),
        "state": one.state,
        "cost": one.cost,
        **_edge_values(one.side),
        "step": _step_values(*pair),
        "reasons": list(one.reasons),
    }


def _edge_values(side: EdgeTraits) -> dict[str, Any]:
    return {
        "key": None if side.key is None else str(side.key),
        "tempo_bpm": side.tempo_bpm,
        "loudness_lufs": side.loudness_lufs,
        "kind": side.kind,
    }


def _step_values(end: EdgeTraits, start: EdgeTraits) -> dict[str, Any]:
    """From the song that ends to the one that starts."""
    has_tempi = end.tempo_bpm is not None and start.tempo_bpm is not None
    return {
        "tonic_semitones": semitones_between(end, start),
        "tempo_octaves": start.tempo_octaves - end.tempo_octaves if has_tempi else None,
        "loudness_lu": start.loudness_lufs - end.loudness_lufs,
    }
