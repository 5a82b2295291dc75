"""The evening's job, end to end: a set in, an order, its times, warnings and run folders out."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.errors import OptionError, RunFolderError
from segue.job.request import Request
from segue.setlist.evening import Breaks, Evening, EveningJoin, with_choice
from segue.setlist.evening_plan import (
    breaks_after,
    counted_songs,
    finished_evening,
    heard_songs,
    planned_evening,
)
from segue.setlist.joins import JoinWork, MadeJoin, fingerprint, made_joins, maker_digest
from segue.setlist.order import order_problem
from segue.setlist.order.better_order import BetterOrder, better_order
from segue.setlist.set_document import (
    SetDocument,
    known_renders,
    read_evening,
    read_set_document,
    write_set,
)
from segue.setlist.set_file import write_reordered
from segue.setlist.set_request import SetRequest, in_order
from segue.setlist.show.evening_page import write_evening_page

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from segue.setlist.evening_plan import HeardEdges
    from segue.setlist.set_list import SetList, SetSong
    from segue.workers import Workers

_LONGEST_TITLE: Final = 40  # letters of a title that a folder's name keeps


def made_evening(
    request: SetRequest,
    workers: Workers,
    *,
    file: Path | None,
    plan_only: bool,
    progress: Callable[[str], None],
) -> tuple[Evening, BetterOrder | None]:
    """Hear, order, plan and render an evening, and write its folder, page and all.

    Parameters
    ----------
    file : Path or None
        The set file, if its songs may be put into a better order; then it is written anew
        in that order, beside the evening.
    progress : callable
        Told after each song and each join.

    Returns
    -------
    (Evening, BetterOrder or None)
        A join that failed has a problem; the others are made.

    Raises
    ------
    SegueError
        If the folder cannot be written, or there is no order.
    """
    progress(f"hearing {len(request.set_list.songs)} songs")
    heard = heard_songs(request, workers, progress=progress)
    better = None
    if file is not None:
        better = reordered_set(request.set_list, heard)
        write_reordered(request.out, file, request.set_list, better.order)
        request = in_order(request, better.order)
        heard = tuple(heard[n] for n in better.order)
    evening = render_evening(request, heard, None if plan_only else workers, progress=progress)
    write_evening_page(request.out, evening)
    return evening, better


def reordered_set(set_list: SetList, heard: Sequence[HeardEdges]) -> BetterOrder:
    """The order that costs least, and what it costs.

    Raises
    ------
    OptionError
        If a song cannot be read, or no order keeps the pins.
    """
    problems = [song.problem for song in heard if song.problem is not None]
    if problems:
        raise OptionError(f"there is no order for songs that cannot be read: {problems[0]}")
    counted = counted_songs(heard)
    edges = [(s.start.facts, s.end.facts) for s in counted if s.start and s.end]
    return better_order(order_problem(set_list.songs, edges), set_list.songs)


def render_evening(
    request: SetRequest,
    heard: Sequence[HeardEdges],
    workers: Workers | None,
    *,
    progress: Callable[[str], None],
) -> Evening:
    """The evening with every segue rendered into its run folder, and ``set.json``.

    Parameters
    ----------
    heard : sequence of HeardEdges
        In the order of the set.
    workers : Workers or None
        None renders nothing: what is there and right is kept, the rest is planned.

    Returns
    -------
    Evening
        A join that failed has a problem; the others are made.

    Raises
    ------
    SegueError
        If the folder cannot be written.
    """
    heard = counted_songs(heard, request.set_list.songs)
    planned = planned_evening(request, heard)
    works = _works(request, heard, planned)
    renders = known_renders(request.out)
    request.out.mkdir(parents=True, exist_ok=True)
    meanwhile = _meanwhile(request, planned, works, renders)
    write_set(request.out, replace(meanwhile, renders=dict(renders)))

    def keep(name: str, mark: str) -> None:
        """A join that is made stays made, whatever becomes of the others."""
        for old in [old for old, known in renders.items() if known == mark]:
            del renders[old]  # it was moved from there
        renders[name] = mark
        write_set(request.out, replace(meanwhile, renders=dict(renders)))

    made = made_joins(list(works.values()), renders, workers, keep=keep, progress=progress)
    names = {n: work.request.out.name for n, work in works.items()}
    joins = [
        _rendered(join, names[n], made[names[n]], breaks_after(request.set_list.songs[n]))
        if names.get(n) in made
        else join
        for n, join in enumerate(planned.joins)
    ]
    evening = finished_evening(request, heard, joins)
    write_set(request.out, _document_of(request, evening, renders))
    return evening


def _document_of(request: SetRequest, evening: Evening, renders: Mapping[str, str]) -> SetDocument:
    return SetDocument(
        schema_version=1,
        segue_version=__version__,
        evening=evening,
        breaks=tuple(breaks_after(song) for song in request.set_list.songs[:-1]),
        renders=dict(renders),
    )


def _meanwhile(
    request: SetRequest, planned: Evening, works: Mapping[int, JoinWork], renders: Mapping[str, str]
) -> SetDocument:
    """What is to be read in the folder if this run is killed: the earlier evening, or the plan.

    The earlier one names its run folders, so it stays only where none of them is moved.
    """
    is_moved = any(
        work.fingerprint in renders.values()
        and renders.get(work.request.out.name) != work.fingerprint
        for work in works.values()
    )
    if not is_moved:
        with contextlib.suppress(RunFolderError):
            read_evening(request.out)  # with all its run folders
            return read_set_document(request.out)
    return _document_of(request, planned, renders)


def _works(
    request: SetRequest, heard: Sequence[HeardEdges], evening: Evening
) -> dict[int, JoinWork]:
    """What there is to render, by place of the join."""
    songs, shelf, maker = request.set_list.songs, request.shelf, maker_digest()
    works = {}
    for n, join in enumerate(evening.joins):
        end, start = heard[n].end, heard[n + 1].start
        if not join.is_segue or end is None or start is None:
            continue
        bpm = (end.facts.pulse.known_bpm, start.facts.pulse.known_bpm)
        wanted = replace(_join_request(request, songs[n], songs[n + 1], n + 1), counted_bpm=bpm)
        mark = fingerprint(wanted, (end, start), shelf, maker=maker)
        works[n] = JoinWork(request=wanted, fingerprint=mark)
    return works


def _join_request(request: SetRequest, old: SetSong, new: SetSong, number: int) -> Request:
    return Request(
        outgoing=old.path,
        incoming=new.path,
        out=request.out / f"{number:02d} {_name(old.title)} to {_name(new.title)}",
        outgoing_overrides=old.overrides,
        incoming_overrides=new.overrides,
        only=() if old.recipe is None else (old.recipe,),
        talk_s=breaks_after(old).wanted_s,
        titles=(old.title, new.title),
        **request.terms,
    )


def _rendered(join: EveningJoin, name: str, made: MadeJoin | str, breaks: Breaks) -> EveningJoin:
    if isinstance(made, str):
        return replace(join, problem=made)
    warnings = (*join.warnings, *made.warnings)
    join = replace(join, folder=name, document=made.document, warnings=warnings)
    return with_choice(join, breaks)


def _name(title: str) -> str:
    """Part of a folder's name: letters, digits, spaces and dashes of a title."""
    kept = "".join(c if c.isalnum() or c in " -'" else "-" for c in title)
    return kept[:_LONGEST_TITLE].strip(" -.") or "song"
