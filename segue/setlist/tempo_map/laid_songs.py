"""Songs on the ruler of an evening: their heard bars, even bars between, their names and keys.

Each step takes what is laid so far and gives more of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import have_pulses
from segue.music.tempo import bpm_number
from segue.plan.edges import song_end, song_start
from segue.setlist.tempo_map.evening_ruler import (
    SAME_PLACE_BEATS,
    EveningRuler,
    fill_of,
    with_fill,
    with_grid,
    with_tail,
)
from segue.setlist.tempo_map.places import Place, PlayedSong, entry_s
from segue.stage.midi_score import Marker, MidiScore

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.music.key import Key
    from segue.setlist.tempo_map.evening_ruler import Fill

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
