"""Lays song after song and way across after way across on the ruler of an evening.

Where everything of an evening is: bars, songs, ways across and free time on one ruler.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.errors import OptionError
from segue.plan.edges import song_end, song_start
from segue.plan.grid import SAME_BEAT
from segue.setlist.tempo_map.evening_ruler import (
    SAME_PLACE_BEATS,
    EveningRuler,
    fill_of,
    signatures,
)
from segue.setlist.tempo_map.places import (
    SAME_S,
    EveningMap,
    Place,
    entry_s,
    exit_s,
    fill_notes,
    hold_beat,
)
from segue.stage.midi_score import (
    TICKS_A_BEAT,
    Marker,
    MidiScore,
    markers_of,
    notes_moved,
    plan_score,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.music.key import Key
    from segue.plan import Plan
    from segue.plan.grid import BeatGrid
    from segue.setlist.tempo_map.places import Crossing, PlayedSong


def evening_map(songs: Sequence[PlayedSong], crossings: Sequence[Crossing]) -> EveningMap:
    """Lay an evening on one ruler.

    Parameters
    ----------
    songs : sequence of PlayedSong
        In order; at least one.
    crossings : sequence of Crossing
        One fewer.

    Raises
    ------
    OptionError
        If a song is left before its bar one.
    """
    pen = Pen()
    pen.begin(songs[0])
    ends = [
        exit_s(song.end, crossing.plan)
        if crossing.leave_s is None
        else min(crossing.leave_s, exit_s(song.end, None))
        for song, crossing in zip(songs, crossings, strict=False)
    ] + [exit_s(songs[-1].end, None)]
    for number, crossing in enumerate(crossings):
        pen.lay_song(songs[number], ends[number])
        pen.cross(crossing, songs[number], songs[number + 1], ends[number + 1])
    pen.lay_song(songs[-1], ends[-1])
    pen.end(songs[-1])
    return pen.result()


_TOLD_S: Final = 0.5
"""A lead-in as long as this is told: a clock of whole seconds can show it."""


class Pen:
    """Lays song after song, and keeps what is to be said of it."""

    def __init__(self) -> None:
        self.ruler = EveningRuler()
        self.zero_s = 0.0
        """Second of the evening at which the file of the song being laid starts."""
        self.from_s = 0.0
        """Second of that file up to which it is laid."""
        self.keys: list[tuple[float, Key]] = []
        self.markers: list[Marker] = []
        self.free: list[tuple[float, str]] = []
        """Seconds and names on no beat of their own: which beat is there, the whole ruler says."""
        self.played: list[MidiScore] = []
        self.songs: list[Place] = []
        self.joins: list[Place] = []
        self.notes: list[str] = []

    @property
    def beat(self) -> float:
        """Where the ruler ends."""
        return self.ruler.tick / TICKS_A_BEAT

    def begin(self, song: PlayedSong) -> None:
        """Bar one of the first song."""
        start = song_start(song.start)
        before_s = entry_s(song.start) - start.grid.seconds_at(start.sound_index)
        if before_s > SAME_S:
            self.notes.append(f"{song.title} sounds {before_s:.1f} s before bar 1 of this file.")
        if entry_s(song.start) > _TOLD_S:
            self.notes.append(
                f"The clock of the page starts with the file of {song.title}, "
                f"{entry_s(song.start):.1f} s before bar 1 of this file."
            )
        self._enter(song)

    def cross(self, crossing: Crossing, old: PlayedSong, new: PlayedSong, new_out_s: float) -> None:
        """From the old song to the new one's bars that the plan has."""
        into_s = entry_s(new.start)
        if new_out_s <= into_s:
            raise OptionError(
                f"{new.title} is left at {new_out_s:.1f} s of its file but entered at "
                f"{into_s:.1f} s: it is too short for two ways across; choose shorter candidates."
            )
        plan = crossing.plan
        bar, beat, start_s = self.ruler.bar_number, self.beat, self.ruler.time_s
        name = f"{old.title} to {new.title}"
        if plan is None:
            self.joins.append(Place(name=name, beat=beat, time_s=start_s, bar=bar))
            left_s = old.end.duration_s if crossing.leave_s is None else crossing.leave_s
            self._lay_free(crossing, new, rest_s=self.zero_s + left_s - start_s)
            self._lay_lead_in(new, from_s=crossing.enter_s or 0.0)
            self._enter(new)
            return
        start_s = self.zero_s + exit_s(old.end, plan)
        self.joins.append(Place(name=name, beat=beat, time_s=start_s, bar=bar))
        hold = hold_beat(plan, new.start)
        self.ruler.lay_plan(plan, 0.0, hold, start_s=start_s)
        free_s = sum(seconds for _, seconds in crossing.free)
        late = self.beat
        self._lay_free(crossing, new)
        late = self.beat - late
        if free_s:
            where = "at" if hold == plan.entry_beat else "before the count-in or the pick-up to"
            self.notes.append(
                f"The files of join {len(self.joins)} play straight on into {new.title}: hold them "
                f"{where} its bar one for the {free_s:.0f} s of free time."
            )
        if plan.entry_beat > hold:
            self.ruler.lay_plan(plan, hold, plan.entry_beat, start_s=start_s + free_s)
        entry_beat = self.beat
        self._mark_plan(plan, new, hold, (beat, late), (start_s, free_s))
        enter_s = plan.tempo.seconds_at(plan.entry_beat)
        until = min(plan.end_beat, plan.tempo.beat_at(enter_s + new_out_s - into_s))
        here = self.ruler.bar_number
        self.songs.append(
            Place(name=new.title, beat=entry_beat, time_s=start_s + free_s + enter_s, bar=here)
        )
        self.ruler.lay_plan(plan, plan.entry_beat, until, start_s=start_s + free_s)
        self.zero_s = start_s + free_s + enter_s - into_s
        self.from_s = into_s + plan.tempo.seconds_at(until) - enter_s

    def lay_song(self, song: PlayedSong, to_s: float) -> None:
        """A song up to a second of its file: heard, unheard, heard."""
        old, end = song_start(song.start).grid, song_end(song.end)
        new = end.grid
        after = new.bar_line_after(new.index_at(max(self.from_s, song.end.edge_start_s)))
        heard_from_s = min(new.seconds_at(after), to_s)
        self._lay_heard_start(old, min(heard_from_s, song.start.edge_end_s))
        unheard_s = heard_from_s - self.from_s + song.longer_s
        longer_s = song.longer_s
        if unheard_s < 0.0 and longer_s < 0.0:
            longer_s -= unheard_s
            self.notes.append(
                f"{song.title} is to be {-song.longer_s:.0f} s shorter than its file, more "
                f"than lies between its heard edges: it is {-longer_s:.0f} s shorter here."
            )
            unheard_s = 0.0
        fill = fill_of(unheard_s, bpm=old.bpm_at(old.index_at(self.from_s)), metre=old.metre)
        self.ruler.lay_fill(fill)
        self.zero_s += longer_s
        self.notes += fill_notes(
            song,
            fill,
            before_bpm=old.bpm_at(old.index_at(self.from_s)),
            after=self.ruler.bar_number,
        )
        first, last = round(new.index_at(heard_from_s)), round(new.index_at(to_s))
        if last > first:
            self.ruler.lay_grid(new, first, last, zero_s=self.zero_s)

    def end(self, song: PlayedSong) -> None:
        """The last song's file after its last bar line."""
        grid = song_end(song.end).grid
        bpm = grid.bpm_at(grid.index_at(self.ruler.time_s - self.zero_s) - 1.0)
        rest_s = self.zero_s + song.end.duration_s - self.ruler.time_s
        self.ruler.lay_tail(rest_s, bpm=bpm, metre=grid.metre)
        self.free.append((self.ruler.time_s, "end of the evening"))

    def result(self) -> EveningMap:
        """Everything laid so far."""
        self.markers += [
            Marker(beat=self.ruler.beat_at(second), time_s=second, name=name)
            for second, name in self.free
        ]
        self.markers.sort(key=lambda mark: mark.time_s)
        last_tick, last_beats = self.ruler.bars[-1]
        return EveningMap(
            score=MidiScore(
                ruler=tuple((tick / TICKS_A_BEAT, s) for tick, s in self.ruler.points),
                metres=tuple(signatures(self.ruler.bars, last_tick + last_beats * TICKS_A_BEAT)),
                keys=tuple(self.keys),
                markers=tuple((mark.beat, mark.name) for mark in self.markers),
                click=tuple(hit for score in self.played for hit in score.click),
                voicings=tuple(v for score in self.played for v in score.voicings),
                cue=tuple(note for score in self.played for note in score.cue),
            ),
            songs=tuple(self.songs),
            joins=tuple(self.joins),
            markers=tuple(self.markers),
            notes=tuple(self.notes),
        )

    def _enter(self, song: PlayedSong) -> None:
        """Bar one of a song that no way across leads into."""
        self.from_s = entry_s(song.start)
        self.zero_s = self.ruler.time_s - self.from_s
        beat, time_s = self.beat, self.ruler.time_s
        self.songs.append(
            Place(name=song.title, beat=beat, time_s=time_s, bar=self.ruler.bar_number)
        )
        self._sign(song, beat, song.start.key.key)
        name = f"{song.title}, bar one" if song.start.pulse.is_known else f"{song.title} starts"
        self.markers.append(Marker(beat=beat, time_s=time_s, name=name))
        note = song.start.first_note
        if note is not None:
            grid = song_start(song.start).grid
            beats = grid.index_at(note.time_s) - grid.index_at(self.from_s)
            self.markers.append(
                Marker(beat=beat + beats, time_s=self.zero_s + note.time_s, name="singer")
            )

    def _sign(self, song: PlayedSong, beat: float, key: Key) -> None:
        """A key signature where a song has a key to go by, or a word that it has none."""
        if song.start.key.is_known:
            self.keys.append((beat, key))
        else:
            self.notes.append(
                f"No key was heard at the start of {song.title}: it has no key signature here."
            )

    def _lay_free(self, crossing: Crossing, new: PlayedSong, *, rest_s: float = 0.0) -> None:
        """Free time at the new song's tempo, after the rest of an old one."""
        start = song_start(new.start)
        bpm, metre = start.grid.bpm_at(start.entry_index), start.grid.metre
        self.ruler.lay_free(rest_s, bpm=bpm, metre=metre)
        for name, seconds in crossing.free:
            self.free.append((self.ruler.time_s, f"{name}, {seconds:.0f} s, free time"))
            self.ruler.lay_free(seconds, bpm=bpm, metre=metre)

    def _lay_lead_in(self, new: PlayedSong, *, from_s: float) -> None:
        """The new song's file before its bar one."""
        if entry_s(new.start) - from_s > _TOLD_S:
            self.free.append((self.ruler.time_s, f"file of {new.title} starts"))
        start = song_start(new.start)
        self.ruler.lay_lead_in(start.grid, start.entry_index, from_s=from_s)

    def _lay_heard_start(self, grid: BeatGrid, to_s: float) -> None:
        """Whole heard bars of a song's start."""
        first = grid.index_at(self.from_s)
        if abs(first - round(first)) < SAME_PLACE_BEATS:
            first = round(first)
        bars = int((grid.index_at(to_s) - first + SAME_PLACE_BEATS) // grid.metre)
        if bars >= 1:
            last = first + bars * grid.metre
            self.ruler.lay_grid(grid, first, last, zero_s=self.zero_s)
            self.from_s = grid.seconds_at(last)

    def _mark_plan(
        self,
        plan: Plan,
        new: PlayedSong,
        hold: float,
        beats: tuple[float, float],
        seconds: tuple[float, float],
    ) -> None:
        """Names, keys and notes of a way across: where it starts, and how long it is held."""
        number = len(self.joins)
        held = hold - SAME_BEAT
        for mark in markers_of(
            plan,
            from_title=f"files of join {number} start",
            to_title=new.title,
            is_free=not new.start.pulse.is_known,
        ):
            waits = mark.beat >= held
            self.markers.append(
                Marker(
                    beat=beats[0] + mark.beat + waits * beats[1],
                    time_s=seconds[0] + mark.time_s + waits * seconds[1],
                    name=mark.name,
                )
            )
        self._sign(new, beats[0] + plan.entry_beat + beats[1], plan.key_to)
        score = plan_score(plan, ())
        before = replace(
            score,
            click=tuple(hit for hit in score.click if hit.beat < held),
            cue=tuple(note for note in score.cue if note.start_beat < held),
            voicings=tuple(v for v in score.voicings if v.start_beat < held),
        )
        after = replace(
            score,
            click=tuple(hit for hit in score.click if hit.beat >= held),
            cue=tuple(note for note in score.cue if note.start_beat >= held),
            voicings=tuple(v for v in score.voicings if v.start_beat >= held),
        )
        self.played += [notes_moved(before, beats[0]), notes_moved(after, sum(beats))]
