"""What an evening is laid from, and the places that it has then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from segue.plan.edges import song_end, song_start
from segue.plan.grid import SAME_BEAT
from segue.plan.guides import COUNT_IN_BARS
from segue.plan.layer import SongLayer

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan import Plan
    from segue.stage.midi_score import Marker, MidiScore


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedSong:
    """A song as it is played.

    Parameters
    ----------
    longer_s : float
        By how much the band plays it longer than its file; negative is shorter.
    """

    start: EdgeFacts
    end: EdgeFacts
    longer_s: float = 0.0

    @property
    def title(self) -> str:
        """Its title."""
        return self.start.title


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """What is played between two songs.

    Parameters
    ----------
    plan : Plan or None
        None for a plain stop.
    free : tuple of (str, float)
        Name and seconds of what happens on no beat before the new song: talk, a changeover.
    leave_s, enter_s : float or None
        Where there is no plan: second of the old song's file at which it is left, and of the new
        one's at which it is entered, if that is not its end and its start.
    """

    plan: Plan | None
    free: tuple[tuple[str, float], ...] = ()
    leave_s: float | None = None
    enter_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A named place of the evening.

    Parameters
    ----------
    beat : float
        From the first tick of the file.
    time_s : float
        From bar one of the first song.
    bar : int
        Number of the bar that begins there.
    """

    name: str
    beat: float
    time_s: float
    bar: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningMap:
    """The evening by beats.

    Parameters
    ----------
    songs : tuple of Place
        Bar one of every song.
    joins : tuple of Place
        Where the files of every way across start; of a plain stop, where the old song is done.
    notes : tuple of str
        What the map does not know.
    """

    score: MidiScore
    songs: tuple[Place, ...]
    joins: tuple[Place, ...]
    markers: tuple[Marker, ...]
    notes: tuple[str, ...]


def exit_s(end: EdgeFacts, plan: Plan | None) -> float:
    """Second of a song's file at beat 0 of the plan that leaves it.

    Parameters
    ----------
    plan : Plan or None
        None for a plain stop.

    Returns
    -------
    float
        The bar line at which it is done where no plan leaves it.
    """
    if plan is not None:
        for layer in plan.layers:
            if isinstance(layer, SongLayer) and layer.song == "outgoing":
                point = layer.time_map[0]
                if point.beat <= plan.exit_beat + SAME_BEAT:
                    return point.source_s - plan.tempo.seconds_at(point.beat)
    done = song_end(end)
    done_s = done.grid.seconds_at(done.done_index)
    return done_s if plan is None else done_s - plan.tempo.seconds_at(plan.exit_beat)


def entry_s(start: EdgeFacts) -> float:
    """Second of a song's file at its entry."""
    song = song_start(start)
    return song.grid.seconds_at(song.entry_index)


def hold_beat(plan: Plan, start: EdgeFacts) -> float:
    """Beat of a plan at which its files wait for free time that its music does not cover.

    Returns
    -------
    float
        The bar line where the count-in into the new song starts, so that the band is counted in
        after the wait; without a count-in its entry, or the bar line before its pick-up or its
        singer, where one is earlier, for nobody can wait between a pick-up and bar one.
    """
    entry = plan.entry_beat
    pickup = 0.0 if start.opening is None else start.opening.pickup_beats / plan.tempo_octave
    singer = entry if plan.singer_beat is None else plan.singer_beat
    first = min(entry - pickup, singer) + SAME_BEAT
    is_counted = any(plan.exit_beat <= hit.beat < entry - SAME_BEAT for hit in plan.click)
    if first > entry and not is_counted:
        return entry
    lines = [b for b in (line.beat for line in plan.bar_lines) if plan.exit_beat <= b <= entry]
    if is_counted:
        lines = lines[:-COUNT_IN_BARS]
    return max((beat for beat in lines if beat <= first), default=plan.exit_beat)
