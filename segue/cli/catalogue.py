"""``segue catalogue`` and ``segue neighbours``: many songs, and what suits beside what."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from segue.cli.options import (
    Cluster,
    ClusterFiles,
    EdgeS,
    Json,
    ManyWorkersN,
    Quiet,
    check_edge,
    open_hands,
)
from segue.errors import OptionError

CATALOGUE_NAME = Path("segue-catalogue.sqlite")
MOST_LISTED = 1_000  # nobody reads more; with all pairs of a large catalogue it takes minutes


def catalogue(
    folders: Annotated[
        list[Path], typer.Argument(help="Folders with songs, searched to the bottom.")
    ],
    to: Annotated[Path, typer.Option(help="The catalogue file, made if need be.")] = CATALOGUE_NAME,
    edge_s: EdgeS = 45.0,
    workers: ManyWorkersN = None,
    cluster: Cluster = None,
    cluster_files: ClusterFiles = None,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Hear both ends of every song under folders; may be stopped and run again."""
    check_edge(edge_s)
    from dataclasses import replace

    from segue.catalogue import NOTHING, Build, build_catalogue, open_store
    from segue.catalogue.scan import songs_under
    from segue.cli.catalogue_tables import print_report
    from segue.cli.hints import progress_bar

    opened = open_hands(
        workers, cluster, cluster_files, ("segue.catalogue.filling", "segue.analysis.hear")
    )
    closed: list[str] = []
    n_songs = sum(1 for _ in songs_under(folders, closed=lambda fault: closed.append(str(fault))))
    if not n_songs and not to.exists():
        nothing = replace(NOTHING, problems=tuple(closed))
        print_report(nothing, folders, to, json=json, quiet=quiet)  # and no empty file
        return
    asked = Build(folders=tuple(folders), edge_s=edge_s)
    with (
        opened as hands,  # first: a cluster that cannot be reached leaves no empty file
        open_store(to) as store,
        progress_bar(n_songs, quiet=quiet) as tell,
    ):
        report = build_catalogue(store, asked, hands, tell=tell)
    print_report(report, folders, to, json=json, quiet=quiet)


def neighbours(
    song: Annotated[
        str | None, typer.Argument(help="A file, a folder of stems, or a title in the catalogue.")
    ] = None,
    top: Annotated[
        int, typer.Option(min=1, max=MOST_LISTED, help="How many songs are listed.")
    ] = 20,
    catalogue: Annotated[Path, typer.Option(help="The catalogue file.")] = CATALOGUE_NAME,
    before: Annotated[
        bool, typer.Option("--before", help="What could precede it, not follow it.")
    ] = False,
    every: Annotated[
        bool,
        typer.Option(
            "--all", help="For every song: what could follow it, written into the catalogue."
        ),
    ] = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """List the songs of a catalogue that could follow a song, nearest first, and why."""
    if every == (song is not None):
        raise OptionError("name one SONG, or give --all for every song of the catalogue.")
    if every and before:
        raise OptionError(
            "--before goes with one SONG: --all keeps what could follow each song best, and what "
            "leads best into a song need not be among it."
        )
    from segue.catalogue import neighbours_of, open_store, write_all_pairs
    from segue.cli.catalogue_tables import print_all_pairs, print_neighbours, print_older
    from segue.cli.hints import progress_bar
    from segue.heard.hearing import listener_digest

    with open_store(catalogue, must_exist=True) as store:
        n_older = store.n_heard_otherwise(listener_digest())
        if song is None:
            with progress_bar(1, quiet=quiet) as tell:
                tell("comparing all songs")
                n_songs = write_all_pairs(store, n_best=top)
            print_all_pairs(n_songs, top, catalogue, json=json)
        else:
            found = neighbours_of(store, song, where="before" if before else "after", n_best=top)
            print_neighbours(found, json=json, quiet=quiet)
    if not json and not quiet:
        print_older(n_older, catalogue)
