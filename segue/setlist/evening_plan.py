"""The evening before anything is rendered: songs heard, joins by the facts, all on the clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from segue.analysis.facts import EdgeFacts, have_keys, have_pulses
from segue.analysis.shared_count import counted_evening
from segue.audio import read_song
from segue.heard.hearing import heard_edge
from segue.music.tonal_space import key_distance
from segue.plan import Given, Plan, plan_segue, proposals
from segue.plan.heard_words import filled_in
from segue.setlist.cautions import Caution, evening_cautions, join_cautions
from segue.setlist.evening import Breaks, Evening, EveningJoin, EveningSong, timed, with_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from segue.audio.clip import Edge
    from segue.heard import HeardEdge
    from segue.recipes import Recipe
    from segue.setlist.set_list import SetSong
    from segue.setlist.set_request import SetRequest
    from segue.workers import Workers


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardEdges:
    """Both edges of a song, or why there are none."""

    start: HeardEdge | None = None
    end: HeardEdge | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SongToHear:
    """A task for a worker."""

    song: SetSong
    edge_s: float
    rate_hz: int
    cached: bool


def heard_songs(
    request: SetRequest, workers: Workers, *, progress: Callable[[str], None]
) -> tuple[HeardEdges, ...]:
    """Both edges of every song, side by side and in the order of the set.

    One that cannot be read has a problem instead of edges. `progress` is told after each song.
    """
    songs = request.set_list.songs
    found = [HeardEdges()] * len(songs)
    tasks = [
        SongToHear(song=song, edge_s=request.edge_s, rate_hz=request.rate_hz, cached=request.cached)
        for song in songs
    ]
    for outcome in workers.outcomes(hear_song, tasks):
        found[outcome.index] = outcome.result or HeardEdges(problem=outcome.problem)
        progress(f"heard {songs[outcome.index].title}")
    return tuple(found)


def hear_song(task: SongToHear) -> HeardEdges:
    """Hear both edges of one song; a task for workers."""
    return HeardEdges(start=_heard(task, "start"), end=_heard(task, "end"))


def counted_songs(
    heard: Sequence[HeardEdges], songs: Sequence[SetSong] | None = None
) -> tuple[HeardEdges, ...]:
    """Each song counted one way in both its joins.

    Parameters
    ----------
    songs : sequence of SetSong, optional
        The same songs in the order of the set: neighbours are counted so that they fit. Without,
        each song is counted for itself.
    """
    facts = [(_facts(song.start), _facts(song.end)) for song in heard]
    joined = None if songs is None else [song.is_segue for song in songs[:-1]]
    counted = counted_evening(facts, joined)
    return tuple(
        replace(song, start=_with(song.start, start), end=_with(song.end, end))
        for song, (start, end) in zip(heard, counted, strict=True)
    )


def _facts(edge: HeardEdge | None) -> EdgeFacts | None:
    return None if edge is None else edge.facts


def _with(edge: HeardEdge | None, facts: EdgeFacts | None) -> HeardEdge | None:
    return edge if edge is None or facts is None else replace(edge, facts=facts)


def _heard(task: SongToHear, edge: Edge) -> HeardEdge:
    read = read_song(task.song.path, edge=edge, edge_s=task.edge_s, rate_hz=task.rate_hz)
    song = replace(read, title=task.song.title)
    return heard_edge(song, overrides=task.song.overrides, cached=task.cached)


def planned_evening(request: SetRequest, heard: Sequence[HeardEdges]) -> Evening:
    """The evening with the likeliest segue at every join, planned and not rendered.

    Parameters
    ----------
    heard : sequence of HeardEdges
        In the order of the set, and counted (`counted_songs`).
    """
    songs, shelf, joins = request.set_list.songs, request.shelf, []
    for n, (old, new) in enumerate(pairwise(heard)):
        join = _bare_join(n, songs[n], old, songs[n + 1], new)
        if join.is_segue and old.end is not None and new.start is not None:
            plan = _plan_for_now(shelf, songs[n], old.end, new.start)
            if plan is not None:
                edges = (old.end.facts, new.start.facts)
                join = with_plan(join, plan, edges, breaks_after(songs[n]))
        joins.append(join)
    return finished_evening(request, heard, joins)


def finished_evening(
    request: SetRequest, heard: Sequence[HeardEdges], joins: Sequence[EveningJoin]
) -> Evening:
    """Songs and joins on the clock, with the warnings that follow from it."""
    songs = request.set_list.songs
    evening = timed(
        Evening(
            title=request.set_list.title,
            songs=tuple(
                _song(n, *both) for n, both in enumerate(zip(songs, heard, strict=True), 1)
            ),
            joins=tuple(joins),
            slot_s=request.set_list.slot_s,
        )
    )
    told = evening_cautions(evening, songs)
    return replace(
        evening, warnings=tuple(c.words for c in told), mends=tuple(c.mends for c in told)
    )


def breaks_after(song: SetSong) -> Breaks:
    """Talk and changeover after a song."""
    return Breaks(talk_s=song.talk_s, changeover_s=song.changeover_s)


def _bare_join(
    n: int, song: SetSong, old: HeardEdges, next_song: SetSong, new: HeardEdges
) -> EveningJoin:
    """What is known of a join before anything is planned: keys, tempos, breaks in silence."""
    distance = ratio = None
    told: tuple[Caution, ...] = ()
    if old.end is not None and new.start is not None:
        end, start = old.end.facts, new.start.facts
        told = tuple(join_cautions(song, end, next_song, start, number=n + 1))
        if have_keys(end, start):
            distance = key_distance(end.key.key, start.key.key)
        if have_pulses(end, start):
            ratio = start.pulse.tempo_bpm / end.pulse.tempo_bpm
    return EveningJoin(
        number=n + 1,
        is_segue=song.is_segue,
        key_distance=distance,
        tempo_ratio=ratio,
        talk_s=song.talk_s,
        changeover_s=song.changeover_s,
        warnings=tuple(caution.words for caution in told),
        mends=tuple(caution.mends for caution in told),
        problem=old.problem or new.problem,
    )


def _plan_for_now(
    shelf: tuple[Recipe, ...], song: SetSong, old: HeardEdge, new: HeardEdge
) -> Plan | None:
    """The most suitable segue by the facts alone, for its times; None where no recipe can be used.

    Levels and seeds are of no matter here.
    """
    talk_s = breaks_after(song).wanted_s
    given = Given(talk_s=talk_s, outgoing_roles=old.roles, incoming_roles=new.roles)
    usable = tuple(r for r in shelf if song.recipe is None or r.name == song.recipe)
    end, start = filled_in(old.facts, new.facts)
    best = proposals(usable, end, start, n_proposals=1, given=given)
    if not best:
        return None
    return plan_segue(
        best[0],
        end,
        start,
        outgoing_has_stems=old.has_stems,
        incoming_has_stems=new.has_stems,
        talk_s=talk_s,
    )


def _song(number: int, song: SetSong, heard: HeardEdges) -> EveningSong:
    end = None if heard.end is None else heard.end.facts
    file_s = 0.0 if end is None else end.duration_s
    return EveningSong(
        number=number,
        title=song.title,
        path=song.path,
        start=None if heard.start is None else heard.start.facts,
        end=end,
        length_s=file_s if song.length_s is None else song.length_s,
        energy=song.energy,
        voice=song.voice,
        problem=heard.problem,
    )
