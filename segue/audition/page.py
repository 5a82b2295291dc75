"""The audition page: one self-contained HTML file, or the same page for the server.

In the file everything is inside: styles, script, the run as a JSON block, the
sound as base64. The server sends the same page with styles, script and sound
beside it.
"""

from __future__ import annotations

import base64
import re
import shlex
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.audition.page_values import fact_rows, run_values, way_values, way_views
from segue.audition.secrets import ANCHOR_RANK, drawn_marks, drawn_order, write_anchor
from segue.audition.sound import bus_marks, bus_mp3s, buses_of
from segue.files.whole_file import plain_bytes, write_whole
from segue.pages import filled, json_block
from segue.plan.heard_words import keys_sentence

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from segue.runfolder import CandidateRecord, RunDocument

PAGE_NAME: Final = "audition.html"
BLIND_PAGE_NAME: Final = "audition-blind.html"
BLIND_KEY_NAME: Final = "audition-blind key.txt"
STYLES: Final = ("shared.css", "audition.css")
SCRIPTS: Final = (
    "post.js", "order.js", "lanes.js", "mark.js", "player.js", "sound.js", "heard.js",
    "page.js", "results.js", "ballot.js", "start.js",
)  # fmt: skip
"""Joined into one block, in this order."""
MOST_WORDS: Final = 500
"""Letters of the free words of a vote."""
MOST_NAME: Final = 40
"""Letters of a listener's name."""
BALLOT_SLOT: Final = "@the ballot of this listener@"
"""Where the server puts what it knows of the one who asks."""
_UNSERVED: Final = json_block({"is_served": False, "base": ""})


@dataclass(frozen=True, slots=True, kw_only=True)
class PageView:
    """Which page is made: of which run, with the anchor or not, names shown or hidden.

    Parameters
    ----------
    records : tuple of CandidateRecord
        The options; the anchor, if any, comes last.
    is_blind : bool
        Whether names are hidden and the order is shuffled for every listener.
    run_name : str
        What the run folder is called, for lines to copy; empty where that is not known.
    """

    document: RunDocument
    records: tuple[CandidateRecord, ...]
    is_blind: bool = False
    run_name: str = ""

    @property
    def has_anchor(self) -> bool:
        """Whether the plain cut, put in as a check, is among the records."""
        return any(record.rank == ANCHOR_RANK for record in self.records)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToVoteOn:
    """What a vote is held on: one run, or every segue of an evening.

    Parameters
    ----------
    folder : Path
        Of the run, or of the evening.
    runs : tuple of (Path, PageView)
        Run folders in order, each with what is shown of it.
    title : str or None
        Of the evening; None for one run.
    """

    folder: Path
    runs: tuple[tuple[Path, PageView], ...]
    title: str | None = None


def page_view(
    folder: Path, document: RunDocument, *, is_blind: bool, wants_anchor: bool
) -> PageView:
    """The view of a run; cuts the anchor where it is wanted.

    Returns
    -------
    PageView
        Without an anchor where none could be told from the options.

    Raises
    ------
    InputError
        If the anchor cannot be cut.
    """
    anchor = write_anchor(folder, document) if wants_anchor else None
    extra = () if anchor is None else (anchor,)
    return PageView(
        document=document,
        records=(*document.candidates, *extra),
        is_blind=is_blind,
        run_name=folder.resolve().name,
    )


def write_page(
    folder: Path,
    document: RunDocument,
    sounds: Sequence[tuple[str, bytes]] | None = None,
    *,
    run_name: str | None = None,
) -> Path:
    """Write the audition page of a run into its folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.
    sounds : sequence of (str, bytes), optional
        `bus_mp3s` of the document's options, where they are there already. Else those of an
        earlier page there are taken, as far as nothing has changed about them.
    run_name : str, optional
        What the folder will be called, where it still has another name.

    Raises
    ------
    RunFolderError
        If a WAV cannot be read.
    OSError
        If the page cannot be written.
    """
    name = folder.resolve().name if run_name is None else run_name
    view = PageView(document=document, records=document.candidates, run_name=name)
    buses = buses_of(view.records)
    marks = bus_marks(buses, folder)
    if sounds is None:
        before = _sounds_of(folder / PAGE_NAME)
        known = {name: before[mark] for name, mark in marks.items() if mark in before}
        sounds = bus_mp3s(buses, folder.joinpath, known=known)
    page = filled_page(
        view,
        run={**run_values(view), "ways": way_values(folder, view)},
        ballot=_UNSERVED,
        sounds=sounds,
        marks=marks,
    )
    write_whole(folder / PAGE_NAME, page.encode())
    return folder / PAGE_NAME


def _sounds_of(page: Path) -> dict[str, bytes]:
    """Sounds of the page that is there already, by their marks: what is the same is kept."""
    try:
        text = plain_bytes(page, most_bytes=_LARGEST_PAGE_BYTES).decode()
        return {mark: base64.b64decode(sound) for mark, sound in _SOUND.findall(text)}
    except (OSError, ValueError):
        return {}


_SOUND: Final = re.compile(r'data-of="([0-9a-f]+)" id="[^"]+">([A-Za-z0-9+/=]*)<')
_LARGEST_PAGE_BYTES: Final = 1 << 27  # twenty times what a page of three segues has


def write_blind_page(folder: Path, view: PageView) -> tuple[Path, Path]:
    """Write the page on which names are hidden and the order is shuffled; see `write_page`.

    Returns
    -------
    page, key : Path
        The page, to send round; and what its marks stand for, to keep until all have voted.
    """
    ranks = drawn_order([record.rank for record in view.records])
    by_rank = {record.rank: record for record in view.records}
    records = tuple(by_rank[rank] for rank in ranks)
    marks = drawn_marks(len(records))
    mixed = replace(view, records=records)
    ways = [
        {**way, "key": n, "mark": mark}
        for n, (way, mark) in enumerate(zip(way_values(folder, mixed), marks, strict=True))
    ]
    page = filled_page(
        mixed,
        run={**run_values(mixed), "ways": ways},
        ballot=_UNSERVED,
        sounds=bus_mp3s(buses_of(records, alike=True), folder.joinpath),
    )
    names = [
        f"{mark} = {anchor_words(r)}"
        for mark, r in sorted(zip(marks, records, strict=True), key=lambda m: m[1].rank)
    ]
    write_whole(folder / BLIND_PAGE_NAME, page.encode())
    write_whole(folder / BLIND_KEY_NAME, ("\n".join(names) + "\n").encode())
    return folder / BLIND_PAGE_NAME, folder / BLIND_KEY_NAME


def anchor_words(record: CandidateRecord) -> str:
    """An option by its number and name; the anchor by what it is."""
    if record.rank == ANCHOR_RANK:
        return "the plain cut, put in as a check"
    return f"option {record.label}, {record.plan.recipe}"


def served_page_text(folder: Path, view: PageView) -> str:
    """The page for the server, with `BALLOT_SLOT` still to be filled; see `write_page`.

    On a blind page the options are in the ballot, each listener's in their own order.
    """
    ways = {} if view.is_blind else {"ways": way_values(folder, view)}
    return filled_page(view, run={**run_values(view), **ways}, ballot=BALLOT_SLOT)


def filled_page(
    view: PageView,
    *,
    run: object,
    ballot: str,
    sounds: Iterable[tuple[str, bytes]] = (),
    marks: Mapping[str, str] | None = None,
) -> str:
    """The page with all it shows.

    Parameters
    ----------
    run : object
        For the page's script, as from `run_values`.
    ballot : str
        What is known of the one who asks, as JSON, or `BALLOT_SLOT`.
    sounds : iterable of (str, bytes)
        As from `bus_mp3s`; none where the server has them.
    marks : mapping of str to str, optional
        `bus_marks` of these sounds, for whoever writes the page anew.
    """
    old, new = view.document.outgoing, view.document.incoming
    values = {
        "styles": STYLES,
        "scripts": SCRIPTS,
        "is_served": ballot == BALLOT_SLOT,
        "is_blind": view.is_blind,
        "old": old,
        "new": new,
        "relation": keys_sentence(old, new),
        "facts": fact_rows(old, new),
        "ways": way_views(view),
        "run_word": shlex.quote(view.run_name) if view.run_name else "DIR",
        "most_words": MOST_WORDS,
        "most_name": MOST_NAME,
        "run": run,
        "ballot": ballot,
        "sounds": ((name, base64.b64encode(sound).decode()) for name, sound in sounds),
        "marks": marks or {},
    }
    return filled("audition.html", values)
