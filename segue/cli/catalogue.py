"""``segue catalogue`` and ``segue neighbours``: many songs, and what suits beside what."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from segue.cli.hands import Cluster, ClusterFiles, WorkersN, open_hands
from segue.cli.hints import print_next
from segue.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.catalogue import CatalogueReport, Neighbour

CATALOGUE_NAME = Path("segue-catalogue.sqlite")
SHORTEST_EDGE_S, LONGEST_EDGE_S = 8.0, 300.0
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress, no hints.")]


def catalogue(
    folders: Annotated[list[Path], typer.Argument(help="Folders with songs.")],
    to: Annotated[Path, typer.Option(help="The catalogue file.")] = CATALOGUE_NAME,
    edge_s: Annotated[
        float, typer.Option("--edge-seconds", help="How much of each end is read.")
    ] = 45.0,
    workers: WorkersN = None,
    cluster: Cluster = None,
    cluster_files: ClusterFiles = None,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Hear both ends of every song under folders; may be stopped and run again."""
    if not SHORTEST_EDGE_S <= edge_s <= LONGEST_EDGE_S:
        raise OptionError(
            f"--edge-seconds {edge_s:g}: keep within {SHORTEST_EDGE_S:g} to {LONGEST_EDGE_S:g}."
        )
    from segue.catalogue import Build, build_catalogue, open_store
    from segue.catalogue.scan import songs_under
    from segue.cli.progress import progress_bar

    opened = open_hands(workers, cluster, cluster_files)
    n_songs = sum(1 for _ in songs_under(folders))
    asked = Build(folders=tuple(folders), edge_s=edge_s)
    with (
        open_store(to) as store,
        opened as hands,
        progress_bar(n_songs, quiet=quiet) as tell,
    ):
        report = build_catalogue(store, asked, hands, tell=tell)
    _print_report(report, to, json=json, quiet=quiet)


def neighbours(
    song: Annotated[
        str | None, typer.Argument(help="A file, a folder of stems, or a title in the catalogue.")
    ] = None,
    top: Annotated[int, typer.Option(min=1, help="How many.")] = 20,
    catalogue: Annotated[Path, typer.Option(help="The catalogue file.")] = CATALOGUE_NAME,
    before: Annotated[bool, typer.Option("--before", help="What could precede it.")] = False,
    every: Annotated[
        bool,
        typer.Option("--all", help="For every song: into the table 'follows' of the catalogue."),
    ] = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """List the songs of a catalogue that could follow a song, nearest first, and why."""
    if every == (song is not None):
        raise OptionError("name one SONG, or give --all for every song of the catalogue.")
    if every and before:
        raise OptionError("--before goes with one SONG: the table of --all reads both ways.")
    from segue.catalogue import neighbours_of, open_store, write_all_pairs
    from segue.cli.progress import progress_bar

    with open_store(catalogue, must_exist=True) as store:
        if song is None:
            with progress_bar(1, quiet=quiet) as tell:
                tell("comparing all songs")
                n_songs = write_all_pairs(store, n_best=top)
            print(f"{n_songs} songs compared; the best {top} of each: table 'follows'.")
            return
        found = neighbours_of(store, song, where="before" if before else "after", n_best=top)
    _print_neighbours(found, json=json)
    if found and not json and not quiet:
        print_next("Three ways across", "between", "SONG_A", "SONG_B", "--out", "DIR")


def _print_report(report: CatalogueReport, to: Path, *, json: bool, quiet: bool) -> None:
    if json:
        from dataclasses import asdict

        from segue.cli.tables import print_json

        print_json({"catalogue": str(to), **asdict(report)})
        return
    print(
        f"{report.n_songs} songs in {to}: {report.n_heard} heard now, {report.n_moved} moved, "
        f"{report.n_removed} removed, {len(report.problems)} skipped."
    )
    for problem in report.problems:
        print(f"  skipped {problem}")
    if report.n_songs and not quiet:
        print_next("What could follow a song", "neighbours", "SONG", "--catalogue", to)


def _print_neighbours(found: Sequence[Neighbour], *, json: bool) -> None:
    from segue.cli.tables import print_json

    if json:
        from dataclasses import asdict

        print_json([asdict(one) for one in found])
        return
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("", "song", "cost", "key", "tempo", "level", "join"):
        table.add_column(heading, overflow="fold")
    for rank, one in enumerate(found, start=1):
        table.add_row(str(rank), one.title, f"{one.cost:.2f}", *one.reasons)
    Console().print(table, markup=False)
