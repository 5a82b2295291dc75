"""``segue analyse``: what is heard of songs; ``segue cache``: what of it is stored."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the types at run time
from typing import Annotated, Literal

import typer

from segue.cli.hints import print_next
from segue.cli.options import EdgeS, Json, NoCache, Quiet, check_edge
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
