"""The audition page: one self-contained HTML file.

Everything is inside: styles, script, the run as a JSON block, the sound as
base64. The content security policy names the two inline blocks by their hash
and allows nothing else, so the page cannot reach a network. The sound comes
last, so that the page is painted before it has been read.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from segue.audition.facts_table import facts_table
from segue.audition.sound import music_mp3, music_rate_kbps, side_mp3
from segue.audition.values import run_values
from segue.audition.way_html import choice_buttons, way_html
from segue.music.interval import relation

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import RunDocument

PAGE_NAME: Final = "audition.html"
SCRIPTS: Final = ("lanes.js", "sound.js", "page.js")
"""Joined into one block, in this order."""

_N_THREADS: Final = 2


def write_page(folder: Path, document: RunDocument) -> Path:
    """Write the audition page of a run into its folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.
    document : RunDocument

    Returns
    -------
    Path
        The page.

    Raises
    ------
    OSError
        If a WAV cannot be read or the page not be written.
    """
    path = folder / PAGE_NAME
    path.write_text(page_text(folder, document), encoding="utf-8", newline="\n")
    return path


def page_text(folder: Path, document: RunDocument) -> str:
    """The page as HTML text; see `write_page`."""
    style, script = _asset("page.css"), "\n".join(_asset(name) for name in SCRIPTS)
    old, new = document.outgoing, document.incoming
    records = document.candidates
    return _asset("page.html").format(
        policy=_policy(style, script),
        style=style,
        script=script,
        title=html.escape(f"{old.title} into {new.title}"),
        relation=html.escape(f"{relation(old.key.key, new.key.key)}."),
        facts=facts_table(old, new),
        choices=choice_buttons(records),
        ways="\n".join(way_html(n, record, document.choice) for n, record in enumerate(records)),
        run=json_block(run_values(folder, document)),
        sounds=_sound_blocks(folder, document),
    )


def json_block(values: object) -> str:
    r"""Values as JSON that may stand in a script block.

    Parameters
    ----------
    values : object

    Returns
    -------
    str
        Without '<': a name such as '</script>' would end the block.

    Examples
    --------
    >>> json_block(["</script>"])
    '["\\u003c/script>"]'
    """
    return json.dumps(values, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def _sound_blocks(folder: Path, document: RunDocument) -> str:
    plans = [record.plan for record in document.candidates]
    rate_kbps = music_rate_kbps(plan.duration_s for plan in plans)

    def block(bus: tuple[str, str]) -> str:
        name, file = bus
        path = folder / file
        sound = music_mp3(path, rate_kbps) if name.startswith("music") else side_mp3(path)
        text = base64.b64encode(sound).decode()
        return f'<script type="application/octet-stream" id="{name}">{text}</script>'

    buses = [
        (f"{bus}-{n}", file)
        for n, record in enumerate(document.candidates)
        for bus, file in (
            ("music", record.music_file),
            ("click", record.click_file),
            ("cue", record.cue_file),
        )
    ]
    with ThreadPoolExecutor(_N_THREADS) as pool:  # the encoder is C and lets others run
        return "\n".join(pool.map(block, buses))


def _policy(style: str, script: str) -> str:
    return (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _asset(name: str) -> str:
    return (files("segue.audition") / "assets" / name).read_text(encoding="utf-8")


def _hash(block: str) -> str:
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"
