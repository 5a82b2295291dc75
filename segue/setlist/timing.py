"""When everything is: songs, interludes, talk and changeovers on the evening's clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.runfolder.document import candidate_of
from segue.setlist.evening_places import entry_s, exit_s, hold_beat

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan import Plan
    from segue.setlist.evening import Evening, EveningJoin, EveningSong


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaks:
    """What the band wants between two songs, in seconds."""

    talk_s: float = 0.0
    changeover_s: float = 0.0

    @property
    def wanted_s(self) -> float | None:
        """Both together; None for nothing."""
        return self.talk_s + self.changeover_s or None


def with_plan(
    join: EveningJoin, plan: Plan, edges: tuple[EdgeFacts, EdgeFacts], breaks: Breaks
) -> EveningJoin:
    """A join with the times of a plan; music covers the breaks as far as it goes.

    Where that is not all the way, they are over before the count-in: nobody talks through it.

    Parameters
    ----------
    join : EveningJoin
    plan : Plan
    edges : (EdgeFacts, EdgeFacts)
        End of the old song, start of the new one.
    breaks : Breaks

    Returns
    -------
    EveningJoin
    """
    before_exit_s = plan.tempo.seconds_at(plan.exit_beat)
    interlude_s = plan.tempo.seconds_at(plan.entry_beat) - before_exit_s
    uncovered_s = breaks.wanted_s or 0.0
    if uncovered_s <= interlude_s:
        uncovered_s = 0.0
    else:
        uncovered_s -= plan.tempo.seconds_at(hold_beat(plan, edges[1])) - before_exit_s
    changeover_s = min(uncovered_s, breaks.changeover_s)
    return replace(
        join,
        recipe=plan.recipe,
        leave_s=exit_s(edges[0], plan) + before_exit_s,
        enter_s=entry_s(edges[1]),
        interlude_s=interlude_s,
        talk_s=uncovered_s - changeover_s,
        changeover_s=changeover_s,
        wanted_talk_s=breaks.talk_s,
        wanted_changeover_s=breaks.changeover_s,
    )


def with_choice(join: EveningJoin, breaks: Breaks) -> EveningJoin:
    """A join with the times of what was chosen, or else scored best, where it was rendered."""
    if join.document is None:
        return join
    document = join.document
    plan = candidate_of(document, None).plan
    return with_plan(join, plan, (document.outgoing, document.incoming), breaks)


def timed(evening: Evening) -> Evening:
    """The evening with every song and join at its place on the clock.

    A song sounds from the second of its file at which it is entered to that at which it is left;
    where the band plays it longer or shorter than the file, its middle is.

    Parameters
    ----------
    evening : Evening
        Its joins' lengths are kept, its times are not looked at.

    Returns
    -------
    Evening
    """
    now_s, entered_s = 0.0, 0.0
    songs: list[EveningSong] = []
    joins: list[EveningJoin] = []
    for song, join in zip(evening.songs, [*evening.joins, None], strict=True):
        left_s = None if join is None else join.leave_s
        end_s = now_s + _played_s(song, entered_s, left_s)
        songs.append(replace(song, start_s=now_s, end_s=end_s))
        if join is not None:
            now_s = end_s + join.interlude_s + join.talk_s + join.changeover_s
            joins.append(replace(join, start_s=end_s, end_s=now_s))
            entered_s = join.enter_s or 0.0
    return replace(evening, songs=tuple(songs), joins=tuple(joins))


def _played_s(song: EveningSong, entered_s: float, left_s: float | None) -> float:
    file_s = song.length_s if song.end is None else song.end.duration_s
    done_s = file_s if left_s is None else left_s
    return max(0.0, done_s - entered_s + song.length_s - file_s)
