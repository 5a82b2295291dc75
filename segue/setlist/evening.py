"""The evening as a whole: songs in order, what is between them, and when.

Times on the evening's clock are seconds from the start of the first song's file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path  # noqa: TC003 - pydantic reads the types at run time
from typing import TYPE_CHECKING

from segue.analysis.facts import EdgeFacts  # noqa: TC001 - the same
from segue.runfolder import RunDocument  # noqa: TC001 - the same
from segue.runfolder.run_document import candidate_of
from segue.setlist.cautions import Mend  # noqa: TC001 - the same
from segue.setlist.tempo_map.laid_songs import entry_s, exit_s, hold_beat

if TYPE_CHECKING:
    from segue.plan import Plan


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
    edges : (EdgeFacts, EdgeFacts)
        End of the old song, start of the new one.
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
    """A join with the times of what is played, where it was rendered."""
    if join.document is None or join.plan is None:
        return join
    return with_plan(join, join.plan, (join.document.outgoing, join.document.incoming), breaks)


def timed(evening: Evening) -> Evening:
    """The evening with every song and join at its place on the clock.

    A song sounds from the second of its file at which it is entered to that at which it is left;
    where the band plays it longer or shorter than the file, its middle is.

    Parameters
    ----------
    evening : Evening
        Its joins' lengths are kept, its times are not looked at.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningSong:
    """A song of the evening.

    Parameters
    ----------
    number : int
        Place in the order, from 1.
    start, end : EdgeFacts or None
        What was heard or given of its two edges; None where the file cannot be read.
    length_s : float
        How long the band plays it: as given, or else as long as the file.
    start_s, end_s : float
        From its entry to its exit on the evening's clock.
    energy : int or None
        1 to 5.
    problem : str or None
        Why it cannot be read, as a sentence.
    """

    number: int
    title: str
    path: Path
    start: EdgeFacts | None
    end: EdgeFacts | None
    length_s: float
    start_s: float = 0.0
    end_s: float = 0.0
    energy: int | None = None
    voice: str | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningJoin:
    """What is between a song and the next.

    Parameters
    ----------
    number : int
        From 1: between songs `number` and `number` + 1.
    is_segue : bool
        False for a plain stop.
    folder : str
        Name of its run folder inside the evening's, such as ``02 Low Tide to Harbour``; empty
        for a plain stop, where nothing was rendered, and where it failed.
    document : RunDocument or None
        Of that run folder, with the band's choice: `candidate_of(document, None)` is played.
    start_s, end_s : float
        From the old song's exit to the new one's entry on the evening's clock. All free time and
        the interlude lie between.
    interlude_s : float
        Music between exit and entry, on beats; 0 for a plain stop.
    talk_s, changeover_s : float
        Free time that no music covers, in this order, before the count-in where there is
        one; their sum and `interlude_s` make up `end_s` - `start_s`.
    wanted_talk_s, wanted_changeover_s : float
        What the band wants of both at a segue, whether music covers it or not.
    recipe : str
        The segue that the times were taken from: chosen, best scored, or planned for
        now; empty for a plain stop.
    leave_s, enter_s : float or None
        Second of the old song's file where it is left, and of the new one's where it is
        entered; None for its end and its start.
    key_distance : float or None
        0 (one key) to about 1, by `segue.music.tonal_space.key_distance`; None where a song
        cannot be read.
    tempo_ratio : float or None
        The new song's tempo to the old one's; None where a song cannot be read.
    mends : tuple of tuple of Mend
        Where each of the warnings is mended, as far as that is kept; in their order.
    problem : str or None
        Why it could not be rendered, as a sentence.
    """

    number: int
    is_segue: bool
    start_s: float = 0.0
    end_s: float = 0.0
    key_distance: float | None
    tempo_ratio: float | None
    folder: str = ""
    document: RunDocument | None = None
    leave_s: float | None = None
    enter_s: float | None = None
    interlude_s: float = 0.0
    talk_s: float = 0.0
    changeover_s: float = 0.0
    wanted_talk_s: float = 0.0
    wanted_changeover_s: float = 0.0
    recipe: str = ""
    warnings: tuple[str, ...] = ()
    mends: tuple[tuple[Mend, ...], ...] = ()
    problem: str | None = None

    @property
    def plan(self) -> Plan | None:
        """Of what is played: chosen, or else scored best; None where nothing is rendered."""
        return None if self.document is None else candidate_of(self.document, None).plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """Songs and joins in order.

    Parameters
    ----------
    songs : tuple of EveningSong
        At least one.
    joins : tuple of EveningJoin
        One fewer than the songs.
    warnings : tuple of str
        Sentences about the evening as a whole: pins, keys, singers, what cannot be read. What
        `segue.setlist.cautions.slot_cautions` says of the slot follows from the times.
    mends : tuple of tuple of Mend
        Where each of them is mended, as far as that is kept; in their order.
    """

    title: str
    songs: tuple[EveningSong, ...]
    joins: tuple[EveningJoin, ...]
    slot_s: float | None = None
    warnings: tuple[str, ...] = ()
    mends: tuple[tuple[Mend, ...], ...] = ()

    def __post_init__(self) -> None:
        if len(self.joins) != len(self.songs) - 1:
            raise ValueError(f"{len(self.songs)} songs have no {len(self.joins)} joins")

    @property
    def running_s(self) -> float:
        """Songs, interludes, talk and changeovers together."""
        return self.songs[-1].end_s
