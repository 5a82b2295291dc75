"""Lays song after song and way across after way across on the ruler of an evening."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import have_pulses
from segue.errors import OptionError
from segue.plan.edges import song_end, song_start
from segue.plan.grid import SAME_BEAT
from segue.setlist.evening_places import EveningMap, Place, entry_s, exit_s
from segue.setlist.evening_ruler import SAME_PLACE_BEATS, Ruler, fill_of, signatures
from segue.stage.markers import Marker, markers_of
from segue.stage.midi_score import TICKS_A_BEAT, MidiScore, notes_moved, plan_score

if TYPE_CHECKING:
    from segue.music.key import Key
    from segue.plan import Plan
    from segue.plan.grid import BeatGrid
    from segue.setlist.evening_places import Crossing, PlayedSong
    from segue.setlist.evening_ruler import Fill

SAME_TEMPO_RATIO: Final = 0.005
"""Edges whose tempos differ by less have one tempo: a third of what is noticed at best
(C. Drake and M.-C. Botte, Perception & Psychophysics 54(3), 1993, 277-286)."""

_SAME_S: Final = 0.05
"""Lengths that differ by less are one."""


class Pen:
    """Lays song after song, and keeps what is to be said of it."""

    def __init__(self) -> None:
        self.ruler = Ruler()
        self.zero_s = 0.0
        """Second of the evening at which the file of the song being laid starts."""
        self.from_s = 0.0
        """Second of that file up to which it is laid."""
        self.keys: list[tuple[float, Key]] = []
        self.markers: list[Marker] = []
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
        if before_s > _SAME_S:
            self.notes.append(f"{song.title} sounds {before_s:.1f} s before bar 1 of this file.")
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
            # The rest of the old song's file, and the new one's before its bar one.
            rest_s = self.zero_s + old.end.duration_s - start_s + into_s
            self._lay_free(crossing, new, rest_s=rest_s)
            self._enter(new)
            return
        start_s = self.zero_s + exit_s(old.end, plan)
        self.joins.append(Place(name=name, beat=beat, time_s=start_s, bar=bar))
        self.ruler.lay_plan(plan, 0.0, plan.entry_beat, start_s=start_s)
        free_s = sum(seconds for _, seconds in crossing.free)
        late = self.beat
        self._lay_free(crossing, new)
        late = self.beat - late
        if late:
            self.notes.append(
                f"The files of join {len(self.joins)} play straight on into {new.title}: hold them "
                f"at its bar one for the {free_s:.0f} s of free time."
            )
        entry_beat = self.beat
        self._mark_plan(plan, new, (beat, late), (start_s, free_s))
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
        self._note_fill(song, fill, old, new)
        first, last = round(new.index_at(heard_from_s)), round(new.index_at(to_s))
        if last > first:
            self.ruler.lay_grid(new, first, last, zero_s=self.zero_s)

    def result(self) -> EveningMap:
        """Everything laid so far."""
        return EveningMap(
            score=MidiScore(
                ruler=tuple((tick / TICKS_A_BEAT, s) for tick, s in self.ruler.points),
                metres=tuple(signatures(self.ruler.bars, self.ruler.tick)),
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
            words = f"{name}, {seconds:.0f} s, free time"
            self.markers.append(Marker(beat=self.beat, time_s=self.ruler.time_s, name=words))
            self.ruler.lay_free(seconds, bpm=bpm, metre=metre)

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

    def _note_fill(self, song: PlayedSong, fill: Fill, old: BeatGrid, new: BeatGrid) -> None:
        is_heard = old.is_heard and new.is_heard
        if not is_heard:
            self.notes.append(f"{song.title} has no clear pulse: its bars are only a ruler.")
        after = self.ruler.bar_number
        if fill.n_beats:
            bars = -(-fill.n_beats // fill.metre)
            start_bpm = old.bpm_at(old.index_at(self.from_s))
            drift_s = abs(fill.seconds - 60.0 * fill.n_beats / start_bpm)
            given = " (as long as its length says)" if abs(song.longer_s) > _SAME_S else ""
            words = (
                f"{song.title}: the {fill.seconds:.0f} s that were not heard{given} are laid as "
                f"{_bars_words(after - bars, after - 1)} at {fill.bpm:.2f} BPM; "
            )
            words += (
                f"they may drift, {drift_s:.2f} s if its first tempo holds, and the clock is right "
                f"again from bar {after} on."
                if is_heard
                else f"the clock is right again from bar {after} on."
            )
            if fill.short_bar_beats:
                words += (
                    f" Bar {after - 1} has {fill.short_bar_beats} beats: whole bars do not fit."
                )
            self.notes.append(words)
        start_bpm, end_bpm = song.start.pulse.tempo_bpm, song.end.pulse.tempo_bpm
        is_told = have_pulses(song.start, song.end)
        if is_told and abs(end_bpm / start_bpm - 1.0) > SAME_TEMPO_RATIO:
            self.notes.append(
                f"{song.title} starts at {start_bpm:.4g} and ends at {end_bpm:.4g} BPM: the change "
                f"is written at bar {after}, the first of its heard end; where in the song it is, "
                "is not known."
            )

    def _mark_plan(
        self,
        plan: Plan,
        new: PlayedSong,
        beats: tuple[float, float],
        seconds: tuple[float, float],
    ) -> None:
        """Names, keys and notes of a way across: where it starts, and by how much it waits."""
        number = len(self.joins)
        entry = plan.entry_beat - SAME_BEAT
        for mark in markers_of(
            plan,
            from_title=f"files of join {number} start",
            to_title=new.title,
            is_free=not new.start.pulse.is_known,
        ):
            waits = mark.beat >= entry
            self.markers.append(
                Marker(
                    beat=beats[0] + mark.beat + waits * beats[1],
                    time_s=seconds[0] + mark.time_s + waits * seconds[1],
                    name=mark.name,
                )
            )
        self.markers.sort(key=lambda mark: mark.time_s)
        self._sign(new, beats[0] + plan.entry_beat + beats[1], plan.key_to)
        score = plan_score(plan, ())
        before = replace(
            score,
            click=tuple(hit for hit in score.click if hit.beat < entry),
            cue=tuple(note for note in score.cue if note.start_beat < entry),
            voicings=tuple(v for v in score.voicings if v.start_beat < entry),
        )
        after = replace(
            score,
            click=tuple(hit for hit in score.click if hit.beat >= entry),
            cue=tuple(note for note in score.cue if note.start_beat >= entry),
            voicings=tuple(v for v in score.voicings if v.start_beat >= entry),
        )
        self.played += [notes_moved(before, beats[0]), notes_moved(after, sum(beats))]


def _bars_words(first: int, last: int) -> str:
    """Such as 'bars 9 to 12, 4 even ones' or 'bar 9'."""
    return (
        f"bar {first}"
        if first == last
        else f"bars {first} to {last}, {last - first + 1} even ones,"
    )
