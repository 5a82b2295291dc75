"""Songs by themselves: ``segue analyse``, ``cache``, ``catalogue`` and ``neighbours``.

What is heard of them, what of it is stored, and what suits beside what.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from segue.cli.hints import print_next
from segue.cli.options import (
    Cluster,
    ClusterFiles,
    EdgeS,
    Json,
    ManyWorkersN,
    NoCache,
    Quiet,
    check_edge,
    open_hands,
)
from segue.errors import OptionError


def analyse(
    songs: Annotated[list[Path], typer.Argument(help="Audio files or folders of stems.")],
    edge: Annotated[
        Literal["start", "end"], typer.Option(help="Which end to listen to.")
    ] = "start",
    lead: Annotated[Path | None, typer.Option(help="A file with the lead part alone.")] = None,
    edge_s: EdgeS = 45.0,
    no_cache: NoCache = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Hear key, tempo, beats, level, and how each song starts or ends."""
    check_edge(edge_s)
    from segue.audio import read_song
    from segue.cli.hints import progress_bar
    from segue.cli.tables import facts_report, print_facts, print_json
    from segue.heard.facts_cache import user_facts_cache
    from segue.heard.hearing import hear

    if lead is not None and len(songs) > 1:
        raise OptionError("--lead goes with one song: analyse the others without it.")
    facts = []
    heard_before = None if no_cache else user_facts_cache()
    with progress_bar(2 * len(songs), quiet=quiet) as tell:
        lead_clip = None
        if lead is not None:
            lead_clip = read_song(lead, edge=edge, edge_s=edge_s).mix
        for path in songs:
            tell(f"reading {path.name}")
            song = read_song(path, edge=edge, edge_s=edge_s)
            tell(f"listening to the {edge} of {song.title}")
            facts.append(hear(song, lead=lead_clip, cache=heard_before))
    if json:
        print_json([facts_report(f) for f in facts])
        return
    print_facts(facts)
    if not quiet:
        print_next("Three segues", "between", "OLD_SONG", "NEW_SONG", "--out", "DIR")


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove all that is stored.")] = False,
    json: Json = False,
) -> None:
    """Show where analyses are stored, or clear them; SEGUE_CACHE names another folder."""
    from segue.heard.facts_cache import user_facts_cache

    found = user_facts_cache()
    if clear:
        from segue.job.songs_at_hand import clear_songs

        found.clear()
        clear_songs(found.folder)
    size = found.size()
    if json:
        from segue.cli.tables import print_json

        print_json(
            {
                "folder": str(found.folder),
                "n_entries": size.n_entries,
                "size_bytes": size.n_bytes,
                "limit_bytes": found.limit_bytes,
            }
        )
        return
    from segue.errors import printable

    print(f"folder   {printable(found.folder)}")
    print(f"entries  {size.n_entries}")
    print(f"size     {size.n_bytes / 1e6:.1f} MB of {found.limit_bytes / 1e6:.0f} MB")


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
