"""The evening's job, end to end: a set in, an order, its times, warnings and run folders out."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from segue import __version__
from segue.between import Request
from segue.errors import InputError, OptionError, did_you_mean
from segue.music.tonal_space import key_distance
from segue.plan import Given, all_recipes, plan_segue, proposals
from segue.setlist.cautions import evening_cautions, join_cautions
from segue.setlist.evening import Evening, EveningJoin, EveningSong
from segue.setlist.heard_songs import HeardSong, heard_songs
from segue.setlist.joins import JoinWork, fingerprint, made_joins
from segue.setlist.order_problem import order_problem
from segue.setlist.reorder import better_order
from segue.setlist.set_document import SET_NAME, SetDocument, known_renders, write_set
from segue.setlist.timing import Breaks, timed, with_choice, with_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from segue.plan import Plan, Recipe
    from segue.runfolder import RunDocument
    from segue.setlist.reorder import BetterOrder
    from segue.setlist.set_list import SetList, SetSong
    from segue.workers import Workers

_LONGEST_TITLE: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRequest:
    """What `make_set` is asked to do.

    Parameters
    ----------
    set_list : SetList
    out : Path
        The evening's folder.
    rate_hz : int
    edge_s : float
    recipes, own_recipes : Path or None
        As for `segue.between.Request`.
    own_weights : mapping or None
        The band's own weights.
    replace : bool
        Whether runs with votes in them may be replaced.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    """

    set_list: SetList
    out: Path
    rate_hz: int = 48_000
    edge_s: float = 45.0
    recipes: Path | None = None
    own_recipes: Path | None = None
    own_weights: Mapping[str, float] | None = field(default=None)
    replace: bool = False
    cached: bool = True

    @property
    def shelf(self) -> tuple[Recipe, ...]:
        """All recipes to choose from."""
        return all_recipes(self.recipes, own=self.own_recipes).recipes


def check_request(request: SetRequest) -> None:
    """Make sure of the folder and the recipes before anything is heard.

    Raises
    ------
    SegueError
        If another thing is where the evening should be, or a recipe does not exist.
    """
    out = request.out
    if out.is_file() or (out.is_dir() and any(out.iterdir()) and not (out / SET_NAME).exists()):
        raise InputError(out, "holds other files and no evening: name a new folder with --out.")
    known = {recipe.name for recipe in request.shelf}
    for song in request.set_list.songs:
        if song.recipe is not None and song.recipe not in known:
            raise OptionError(
                f"'{song.recipe}' after '{song.title}' is no recipe: there are "
                f"{', '.join(sorted(known))}.{did_you_mean(song.recipe, known)}"
            )


def hear_set(
    request: SetRequest, workers: Workers, *, progress: Callable[[str], None]
) -> tuple[HeardSong, ...]:
    """Hear both edges of every song; see `heard_songs`."""
    return heard_songs(
        request.set_list.songs,
        workers,
        edge_s=request.edge_s,
        rate_hz=request.rate_hz,
        cached=request.cached,
        progress=progress,
    )


def reordered_set(set_list: SetList, heard: Sequence[HeardSong]) -> BetterOrder:
    """The order that costs least, and what it costs.

    Raises
    ------
    OptionError
        If a song cannot be read, or no order keeps the pins.
    """
    problems = [song.problem for song in heard if song.problem is not None]
    if problems:
        raise OptionError(f"there is no order for songs that cannot be read: {problems[0]}")
    edges = [(s.start.facts, s.end.facts) for s in heard if s.start and s.end]
    return better_order(order_problem(set_list.songs, edges), set_list.songs)


def in_order(request: SetRequest, order: Sequence[int]) -> SetRequest:
    """The same with its songs in another order."""
    songs = tuple(request.set_list.songs[n] for n in order)
    return replace(request, set_list=replace(request.set_list, songs=songs))


def planned_evening(request: SetRequest, heard: Sequence[HeardSong]) -> Evening:
    """The evening with the likeliest way across at every join, planned and not rendered.

    Parameters
    ----------
    request : SetRequest
    heard : sequence of HeardSong
        In the order of the set.

    Returns
    -------
    Evening
    """
    songs = request.set_list.songs
    shelf = request.shelf
    joins = []
    for n in range(len(songs) - 1):
        join = _bare_join(songs, heard, n)
        end, start = heard[n].end, heard[n + 1].start
        if join.is_segue and end is not None and start is not None:
            plan = _plan_for_now(shelf, songs[n], heard[n], heard[n + 1])
            if plan is not None:
                join = with_plan(join, plan, (end.facts, start.facts), breaks_after(songs[n]))
        joins.append(join)
    return _finished(request, heard, joins)


def render_evening(
    request: SetRequest,
    heard: Sequence[HeardSong],
    workers: Workers,
    *,
    progress: Callable[[str], None],
) -> Evening:
    """The evening with every segue rendered into its run folder, and ``set.json``.

    Parameters
    ----------
    request : SetRequest
    heard : sequence of HeardSong
        In the order of the set.
    workers : Workers
    progress : callable
        Told after each join.

    Returns
    -------
    Evening
        A join that failed has a problem; the others are made.

    Raises
    ------
    SegueError
        If the folder cannot be written.
    """
    planned = planned_evening(request, heard)
    works = _works(request, heard, planned)
    renders = known_renders(request.out)
    save_evening(request, planned, renders=renders)

    def keep(name: str, mark: str) -> None:
        """A join that is made stays made, whatever becomes of the others."""
        for old in [old for old, known in renders.items() if known == mark]:
            del renders[old]  # it was moved from there
        renders[name] = mark
        save_evening(request, planned, renders=renders)

    made = made_joins(list(works.values()), renders, workers, keep=keep, progress=progress)
    joins = [
        _rendered(join, made, works, breaks_after(request.set_list.songs[n]))
        if n in works
        else join
        for n, join in enumerate(planned.joins)
    ]
    evening = _finished(request, heard, joins)
    save_evening(request, evening, renders=renders)
    return evening


def save_evening(
    request: SetRequest, evening: Evening, *, renders: Mapping[str, str] | None = None
) -> None:
    """Write ``set.json``; without `renders`, what an earlier run made stays known."""
    make_folder(request.out)
    if renders is None:
        renders = known_renders(request.out)
    write_set(
        request.out,
        SetDocument(
            schema_version=1,
            segue_version=__version__,
            evening=evening,
            breaks=tuple(breaks_after(song) for song in request.set_list.songs[:-1]),
            renders=dict(renders),
        ),
    )


def breaks_after(song: SetSong) -> Breaks:
    """Talk and changeover after a song."""
    return Breaks(talk_s=song.talk_s, changeover_s=song.changeover_s)


def _bare_join(songs: Sequence[SetSong], heard: Sequence[HeardSong], n: int) -> EveningJoin:
    """What is known of a join before anything is planned: keys, tempos, breaks in silence."""
    old, new = songs[n], songs[n + 1]
    end, start = heard[n].end, heard[n + 1].start
    known = None if end is None or start is None else (end.facts, start.facts)
    return EveningJoin(
        number=n + 1,
        is_segue=old.is_segue,
        start_s=0.0,
        end_s=0.0,
        key_distance=None if known is None else key_distance(known[0].key.key, known[1].key.key),
        tempo_ratio=(
            None if known is None else known[1].pulse.tempo_bpm / known[0].pulse.tempo_bpm
        ),
        talk_s=old.talk_s,
        changeover_s=old.changeover_s,
        warnings=() if known is None else join_cautions(old, known[0], new, known[1]),
        problem=heard[n].problem or heard[n + 1].problem,
    )


def _plan_for_now(
    shelf: tuple[Recipe, ...], song: SetSong, old: HeardSong, new: HeardSong
) -> Plan | None:
    """The most suitable way across by the facts alone; None where no recipe can be used."""
    if old.end is None or new.start is None:
        return None
    talk_s = breaks_after(song).wanted_s
    given = Given(talk_s=talk_s, outgoing_roles=old.end.roles, incoming_roles=new.start.roles)
    usable = tuple(r for r in shelf if song.recipe is None or r.name == song.recipe)
    best = proposals(usable, old.end.facts, new.start.facts, n_proposals=1, given=given)
    if not best:
        return None
    return plan_segue(
        best[0],
        old.end.facts,
        new.start.facts,
        outgoing_has_stems=bool(old.end.roles),
        incoming_has_stems=bool(new.start.roles),
        talk_s=talk_s,
    )


def _works(
    request: SetRequest, heard: Sequence[HeardSong], evening: Evening
) -> dict[int, JoinWork]:
    """What there is to render, by place of the join."""
    songs, shelf = request.set_list.songs, request.shelf
    works = {}
    for n, join in enumerate(evening.joins):
        end, start = heard[n].end, heard[n + 1].start
        if not join.is_segue or end is None or start is None:
            continue
        wanted = _join_request(request, songs[n], songs[n + 1], n + 1)
        mark = fingerprint(wanted, (end, start), shelf)
        works[n] = JoinWork(request=wanted, fingerprint=mark)
    return works


def _join_request(request: SetRequest, old: SetSong, new: SetSong, number: int) -> Request:
    return Request(
        outgoing=old.path,
        incoming=new.path,
        out=request.out / f"{number:02d} {_name(old.title)} to {_name(new.title)}",
        rate_hz=request.rate_hz,
        edge_s=request.edge_s,
        outgoing_overrides=old.overrides,
        incoming_overrides=new.overrides,
        recipes=request.recipes,
        own_recipes=request.own_recipes,
        only=() if old.recipe is None else (old.recipe,),
        own_weights=request.own_weights,
        talk_s=breaks_after(old).wanted_s,
        replace=request.replace,
        cached=request.cached,
    )


def _rendered(
    join: EveningJoin,
    made: Mapping[str, RunDocument | str],
    works: Mapping[int, JoinWork],
    breaks: Breaks,
) -> EveningJoin:
    name = works[join.number - 1].request.out.name
    result = made[name]
    if isinstance(result, str):
        return replace(join, problem=result)
    return with_choice(replace(join, folder=name, document=result), breaks)


def _finished(
    request: SetRequest, heard: Sequence[HeardSong], joins: Sequence[EveningJoin]
) -> Evening:
    """Songs and joins on the clock, with the warnings that follow from it."""
    songs = request.set_list.songs
    evening = timed(
        Evening(
            title=request.set_list.title,
            songs=tuple(
                _song(s, h, n) for n, (s, h) in enumerate(zip(songs, heard, strict=True), 1)
            ),
            joins=tuple(joins),
            slot_s=request.set_list.slot_s,
        )
    )
    return replace(evening, warnings=evening_cautions(evening, songs))


def _song(song: SetSong, heard: HeardSong, number: int) -> EveningSong:
    end = None if heard.end is None else heard.end.facts
    file_s = 0.0 if end is None else end.duration_s
    return EveningSong(
        number=number,
        title=song.title,
        path=song.path,
        start=None if heard.start is None else heard.start.facts,
        end=end,
        length_s=file_s if song.length_s is None else song.length_s,
        start_s=0.0,
        end_s=0.0,
        energy=song.energy,
        voice=song.voice,
        problem=heard.problem,
    )


def _name(title: str) -> str:
    """Part of a folder's name: letters, digits, spaces and dashes of a title."""
    kept = "".join(c if c.isalnum() or c in " -'" else "-" for c in title)
    return kept[:_LONGEST_TITLE].strip(" -.") or "song"


def make_folder(out: Path) -> None:
    """Make the evening's folder where there is none.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            out, f"cannot be made ({error.strerror}): choose another --out."
        ) from error
