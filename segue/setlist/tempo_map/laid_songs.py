"""Songs on the ruler of an evening: their heard bars, even bars between, names, keys and places.

Each step takes what is laid so far and gives more of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import EdgeFacts, have_pulses
from segue.music.tempo import bpm_number
from segue.plan.edges import song_end, song_start
from segue.plan.grid import SAME_BEAT
from segue.plan.guides import COUNT_IN_BARS
from segue.plan.layer import SongLayer
from segue.setlist.tempo_map.evening_ruler import (
    SAME_PLACE_BEATS,
    EveningRuler,
    Fill,
    fill_of,
    with_fill,
    with_grid,
    with_tail,
)
from segue.stage.midi_score import Marker, MidiScore

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.music.key import Key
    from segue.plan import Plan


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


SAME_TEMPO_RATIO: Final = 0.005
"""Edges whose tempos differ by less have one tempo: a third of what is noticed at best
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""
SAME_S: Final = 0.05
"""Lengths that differ by less are one. Set by judgement."""
TOLD_S: Final = 0.5
"""A lead-in as long as this is told: a clock of whole seconds can show it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """What is laid so far, and what is to be said of it.

    Parameters
    ----------
    zero_s : float
        Second of the evening at which the file of the song being laid starts.
    from_s : float
        Second of that file up to which it is laid.
    free : tuple of (float, str)
        Seconds and names on no beat of their own: which beat is there, the whole ruler says.
    """

    ruler: EveningRuler
    zero_s: float = 0.0
    from_s: float = 0.0
    keys: tuple[tuple[float, Key], ...] = ()
    markers: tuple[Marker, ...] = ()
    free: tuple[tuple[float, str], ...] = ()
    played: tuple[MidiScore, ...] = ()
    songs: tuple[Place, ...] = ()
    joins: tuple[Place, ...] = ()
    notes: tuple[str, ...] = ()


def begun(song: PlayedSong) -> Laid:
    """Bar one of the first song."""
    start = song_start(song.start)
    before_s = entry_s(song.start) - start.grid.seconds_at(start.sound_index)
    notes = []
    if before_s > SAME_S:
        notes.append(f"{song.title} sounds {before_s:.1f} s before bar 1 of this file.")
    if entry_s(song.start) > TOLD_S:
        notes.append(
            f"The clock of the page starts with the file of {song.title}, "
            f"{entry_s(song.start):.1f} s before bar 1 of this file."
        )
    return entered(Laid(ruler=EveningRuler(), notes=tuple(notes)), song)


def with_song(laid: Laid, song: PlayedSong, to_s: float) -> Laid:
    """A song up to a second of its file: heard, unheard, heard."""
    old, new = song_start(song.start).grid, song_end(song.end).grid
    after = new.bar_line_after(new.index_at(max(laid.from_s, song.end.edge_start_s)))
    heard_from_s = min(new.seconds_at(after), to_s)
    laid = _with_heard_start(laid, song, min(heard_from_s, song.start.edge_end_s))
    notes, longer_s = [*laid.notes], song.longer_s
    unheard_s = heard_from_s - laid.from_s + longer_s
    if unheard_s < 0.0 and longer_s < 0.0:
        longer_s -= unheard_s
        notes.append(
            f"{song.title} is to be {-song.longer_s:.0f} s shorter than its file, more "
            f"than lies between its heard edges: it is {-longer_s:.0f} s shorter here."
        )
        unheard_s = 0.0
    before_bpm = old.bpm_at(old.index_at(laid.from_s))
    fill = fill_of(unheard_s, bpm=before_bpm, metre=old.metre)
    ruler, zero_s = with_fill(laid.ruler, fill), laid.zero_s + longer_s
    notes += _fill_notes(song, fill, before_bpm=before_bpm, after=ruler.bar_number)
    first, last = round(new.index_at(heard_from_s)), round(new.index_at(to_s))
    if last > first:
        ruler = with_grid(ruler, new, first, last, zero_s=zero_s)
    return replace(laid, ruler=ruler, zero_s=zero_s, notes=tuple(notes))


def _with_heard_start(laid: Laid, song: PlayedSong, to_s: float) -> Laid:
    """Whole heard bars of a song's start."""
    grid = song_start(song.start).grid
    first = grid.index_at(laid.from_s)
    if abs(first - round(first)) < SAME_PLACE_BEATS:
        first = round(first)
    bars = int((grid.index_at(to_s) - first + SAME_PLACE_BEATS) // grid.metre)
    if bars < 1:
        return laid
    last = first + bars * grid.metre
    ruler = with_grid(laid.ruler, grid, first, last, zero_s=laid.zero_s)
    return replace(laid, ruler=ruler, from_s=grid.seconds_at(last))


def ended(laid: Laid, song: PlayedSong) -> Laid:
    """The last song's file after its last bar line."""
    grid, ruler = song_end(song.end).grid, laid.ruler
    bpm = grid.bpm_at(grid.index_at(ruler.time_s - laid.zero_s) - 1.0)
    rest_s = laid.zero_s + song.end.duration_s - ruler.time_s
    ruler = with_tail(ruler, rest_s, bpm=bpm, metre=grid.metre)
    return replace(laid, ruler=ruler, free=(*laid.free, (ruler.time_s, "end of the evening")))


def entered(laid: Laid, song: PlayedSong) -> Laid:
    """Bar one of a song that no segue leads into."""
    from_s, ruler = entry_s(song.start), laid.ruler
    zero_s = ruler.time_s - from_s
    name = f"{song.title}, bar one" if song.start.pulse.is_known else f"{song.title} starts"
    markers = [Marker(beat=ruler.beat, time_s=ruler.time_s, name=name)]
    note = song.start.first_note
    if note is not None:
        grid = song_start(song.start).grid
        beat = ruler.beat + (grid.index_at(note.time_s) - grid.index_at(from_s))
        markers.append(Marker(beat=beat, time_s=zero_s + note.time_s, name="singer"))
    laid = replace(
        laid,
        from_s=from_s,
        zero_s=zero_s,
        songs=(*laid.songs, here(ruler, song.title)),
        markers=(*laid.markers, *markers),
    )
    return signed(laid, song, ruler.beat, song.start.key.key)


def signed(laid: Laid, song: PlayedSong, beat: float, key: Key) -> Laid:
    """A key signature where a song has a key to go by, or a word that it has none."""
    if song.start.key.is_known:
        return replace(laid, keys=(*laid.keys, (beat, key)))
    words = f"No key was heard at the start of {song.title}: it has no key signature here."
    return replace(laid, notes=(*laid.notes, words))


def here(ruler: EveningRuler, name: str) -> Place:
    """Where the ruler ends."""
    return Place(name=name, beat=ruler.beat, time_s=ruler.time_s, bar=ruler.bar_number)


def _fill_notes(song: PlayedSong, fill: Fill, *, before_bpm: float, after: int) -> Iterator[str]:
    """What is to be said of the part of a song that was not heard.

    Parameters
    ----------
    before_bpm : float
        Tempo of the last beat that was heard before it.
    after : int
        Number of the first bar that was heard after it.
    """
    is_heard = song_start(song.start).grid.is_heard and song_end(song.end).grid.is_heard
    if not is_heard:
        yield f"{song.title} has no clear pulse: its bars are a guess."
    if fill.n_beats:
        bars = -(-fill.n_beats // fill.metre)
        drift_s = abs(fill.seconds - 60.0 * fill.n_beats / before_bpm)
        given = ", as its length says" if abs(song.longer_s) > SAME_S else ""
        drift = f", {drift_s:.2f} s off if its first tempo holds" * is_heard
        short = f" Bar {after - 1} has {fill.short_bar_beats} beats: whole bars do not fit."
        where = _bars_words(after - bars, after - 1, f"{fill.seconds:.0f} s{given}")
        yield (
            f"{song.title}: {where} a guess at {bpm_number(fill.bpm)} BPM{drift}; back in time "
            f"from bar {after}." + short * bool(fill.short_bar_beats)
        )
    start_bpm, end_bpm = song.start.pulse.tempo_bpm, song.end.pulse.tempo_bpm
    is_told = have_pulses(song.start, song.end)
    if is_told and abs(end_bpm / start_bpm - 1.0) > SAME_TEMPO_RATIO:
        yield (
            f"{song.title} starts at {bpm_number(start_bpm)} BPM and ends at "
            f"{bpm_number(end_bpm)}. Where in the song it changes is not known: the change is "
            f"written at bar {after}, where its end was heard."
        )


def _bars_words(first: int, last: int, length: str) -> str:
    """Such as 'bars 9 to 12 (8 s) are' or 'bar 9 (2 s) is'."""
    if first == last:
        return f"bar {first} ({length}) is"
    return f"bars {first} to {last} ({length}) are"
