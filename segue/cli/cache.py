"""``segue cache``: what was heard before, how much room it takes, and how to be rid of it."""

from __future__ import annotations

from typing import Annotated

import typer


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove all that is stored.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print JSON for machines.")] = False,
) -> None:
    """Show where analyses are stored, or clear them; SEGUE_CACHE names another folder."""
    from segue.heard.facts_cache import user_facts_cache

    found = user_facts_cache()
    if clear:
        from segue.job.draft_songs import clear_songs

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
