"""The audition page: one self-contained HTML file, or the same page for the server.

In the file everything is inside: styles, script, the run as a JSON block, the
sound as base64. The content security policy names the two inline blocks by
their hash and allows nothing else, so the page cannot reach a network. The
sound comes last, so that the page is painted before it has been read.

The server sends the same page with styles, script and sound beside it.

Values for the page's script, as a JSON block that cannot end early.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from typing import TYPE_CHECKING, Final

from segue.audition.assets import STYLE_NAME, asset, page_script
from segue.audition.ballot_html import ballot_html
from segue.audition.facts_table import facts_table
from segue.audition.sound import bus_mp3s
from segue.audition.values import run_values
from segue.audition.view import PageView
from segue.audition.way_html import blind_way_html, choice_buttons, way_html
from segue.plan.heard_words import keys_sentence

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.runfolder import RunDocument


def json_block(values: object) -> str:
    r"""Values as JSON that may stand in a script block.

    Returns
    -------
    str
        Without '<': a name such as '</script>' would end the block. Without
        '@': it marks the places that the server fills.

    Examples
    --------
    >>> json_block(["</script>"])
    '["\\u003c/script>"]'
    """
    text = json.dumps(values, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("@", "\\u0040")


PAGE_NAME: Final = "audition.html"
BLIND_PAGE_NAME: Final = "audition-blind.html"
BALLOT_SLOT: Final = "@the ballot of this listener@"
"""Where the server puts what it knows of the one who asks; JSON blocks never hold it."""


def write_page(
    folder: Path, document: RunDocument, sounds: Sequence[tuple[str, bytes]] | None = None
) -> Path:
    """Write the audition page of a run into its folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.
    sounds : sequence of (str, bytes), optional
        `bus_mp3s` of the document's candidates, where they are there already.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    RunFolderError
        If a WAV cannot be read.
    OSError
        If the page cannot be written.
    """
    return _write(folder, PageView(document=document, records=document.candidates), sounds)


def write_blind_page(folder: Path, view: PageView) -> Path:
    """Write the page on which names are hidden and the order is shuffled; see `write_page`."""
    return _write(folder, view)


def page_text(
    folder: Path, view: PageView, sounds: Sequence[tuple[str, bytes]] | None = None
) -> str:
    """The self-contained page as HTML text; see `write_page`."""
    style, script = asset(STYLE_NAME), page_script()
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    blocks = "\n".join(
        f'<script type="application/octet-stream" id="{name}">'
        f"{base64.b64encode(sound).decode()}</script>"
        for name, sound in sounds or bus_mp3s(folder, view.records)
    )
    return _filled(
        folder,
        view,
        head=f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f"<style>{style}</style>",
        ballot=json_block({"seed": None, "is_served": False}),
        tail=f"<script>{script}</script>\n{blocks}",
    )


def served_page_text(folder: Path, view: PageView) -> str:
    """The page for the server, with `BALLOT_SLOT` still to be filled; see `write_page`."""
    return _filled(
        folder,
        view,
        head='<link rel="stylesheet" href="/page.css">',
        ballot=BALLOT_SLOT,
        tail='<script src="/page.js"></script>',
    )


def _filled(folder: Path, view: PageView, *, head: str, ballot: str, tail: str) -> str:
    document, records = view.document, view.records
    old, new = document.outgoing, document.incoming
    ways = (
        [blind_way_html(n) for n in range(len(records))]
        if view.is_blind
        else [way_html(n, record, document.choice) for n, record in enumerate(records)]
    )
    return asset("page.html").format(
        head=head,
        look="blind" if view.is_blind else "open",
        title=html.escape(f"{old.title} into {new.title}"),
        relation=html.escape(f"{keys_sentence(old, new)}."),
        facts=facts_table(old, new),
        choices=choice_buttons(records, is_blind=view.is_blind),
        ways="\n".join(ways),
        ballot=ballot_html(view) if records else "",
        run=json_block(run_values(folder, view)),
        listener=ballot,
        tail=tail,
    )


def _write(folder: Path, view: PageView, sounds: Sequence[tuple[str, bytes]] | None = None) -> Path:
    path = folder / (BLIND_PAGE_NAME if view.is_blind else PAGE_NAME)
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(page_text(folder, view, sounds), encoding="utf-8", newline="\n")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path


def _hash(block: str) -> str:
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"
