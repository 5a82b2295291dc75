"""What the evening's page and its pack tell of songs and joins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from segue.errors import listed
from segue.music.interval import effort, interval_name
from segue.music.tempo import bpm_number, clock, tempo_step_words
from segue.plan.heard_words import NO_PULSE, first_note_name, key_words, opening_words
from segue.runfolder.run_document import candidate_of
from segue.setlist.cautions import slot_cautions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.runfolder import CandidateRecord, RunDocument
    from segue.setlist.evening import Evening, EveningJoin, EveningSong


@dataclass(frozen=True, slots=True, kw_only=True)
class SongRow:
    """A song of the evening, and what is told of it.

    Parameters
    ----------
    keys : tuple of str
        The key at its start and, where it is another, at its end; 'none heard' for none, empty
        for a song that was not heard at all.
    start_bpm, end_bpm : float or None
        None in free time, or where the song was not heard.
    starts : str
        Who starts, and how.
    """

    song: EveningSong
    keys: tuple[str, ...]
    start_bpm: float | None
    end_bpm: float | None
    starts: str = ""

    @property
    def key_words(self) -> str:
        """Such as 'E minor' or 'E minor → F minor'."""
        return " → ".join(self.keys)

    @property
    def tempo_words(self) -> str:
        """Such as '124', '124 → 128' or 'free time'."""
        if not self.keys:
            return ""
        tempos = (self.start_bpm, self.end_bpm)
        told = [NO_PULSE if bpm is None else bpm_number(bpm) for bpm in tempos]
        return " → ".join(dict.fromkeys(told))


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinRow:
    """What is between two songs, and what is told of it."""

    join: EveningJoin
    old: EveningSong
    new: EveningSong

    @property
    def document(self) -> RunDocument | None:
        """The run that leads over, where it is made."""
        return self.join.document

    @property
    def record(self) -> CandidateRecord | None:
        """The option that is played: the chosen one, or else the best scored."""
        return None if self.document is None else candidate_of(self.document, None)

    @property
    def steps(self) -> tuple[str, ...]:
        """Steps in key and tempo, as far as both songs have one.

        Such as 'up a semitone (hard)' and '23 % slower'.
        """
        join, old, new = self.join, self.old.end, self.new.start
        words = []
        if join.key_distance is not None and old is not None and new is not None:
            name = interval_name(old.key.key, new.key.key)
            same = old.key.key == new.key.key
            words.append(name if same else f"{name} ({effort(join.key_distance)})")
        if join.tempo_ratio is not None:
            words.append(tempo_step_words(join.tempo_ratio))
        return tuple(words)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is to be looked out for, and why it could not be made."""
        problem = self.join.problem
        return (*self.join.warnings, *([] if problem is None else [problem]))

    @property
    def is_chosen(self) -> bool:
        """Whether the band has chosen."""
        return self.document is not None and self.document.choice is not None

    @property
    def words(self) -> str:
        """What happens, in one or two sentences."""
        free = ", ".join(f"{name} {seconds:.0f} s" for name, seconds in free_times(self.join))
        if self.record is None:
            plain = "No segue could be made" if self.join.is_segue else "A plain stop"
            return f"{capital(free or plain)}."
        length = f"{self.record.length_words}{covered_words(wanted_times(self.join))}"
        told = f"{capital(self.record.plan.recipe)}, {length}."
        return told + (f" Without music: {free}." if free else "")

    @property
    def line(self) -> str:
        """The steps in key and tempo, then what happens."""
        steps = ", ".join(self.steps)
        return f"{capital(steps)}. {self.words}" if steps else self.words


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningRows:
    """A whole evening, to be shown."""

    evening: Evening
    songs: tuple[SongRow, ...]
    joins: tuple[JoinRow, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is to be looked out for in the evening as a whole."""
        return (*(c.words for c in slot_cautions(self.evening)), *self.evening.warnings)

    @property
    def join_warnings(self) -> tuple[tuple[int, str], ...]:
        """Every warning of a join, with its number."""
        return tuple((row.join.number, words) for row in self.joins for words in row.warnings)

    @property
    def open_words(self) -> str:
        """Which segues the band has still to choose, and what counts until then; '' for none."""
        made = [row for row in self.joins if row.record is not None]
        numbers = [str(row.join.number) for row in made if not row.is_chosen]
        if not numbers:
            return ""
        each = "the best marked one of each counts"
        if len(numbers) == len(made):
            return f"No segue is chosen yet: {each}."
        if len(numbers) == 1:
            return f"Segue {numbers[0]} is not chosen yet: the best marked one counts."
        return f"Segues {listed(numbers)} are not chosen yet: {each}."

    @property
    def summary(self) -> str:
        """Running time against the slot."""
        words = running_words(self.evening.running_s, self.evening.slot_s)
        return f"{len(self.songs)} songs, {words}"


def capital(words: str) -> str:
    """Words as they begin a sentence."""
    return words[:1].upper() + words[1:]


def covered_words(wanted: Sequence[tuple[str, float]]) -> str:
    """What music is to cover, such as ' for 25 s of talk'; empty for nothing."""
    told = " and ".join(f"{seconds:.0f} s of {name}" for name, seconds in wanted)
    return f" for {told}" if told else ""


def running_words(running_s: float, slot_s: float | None) -> str:
    """Running time against the slot, as the rest of a sentence."""
    words = f"running time {clock(running_s)}"
    if slot_s is None:
        return f"{words}."
    left_s = slot_s - running_s
    side = "left" if left_s >= 0 else "too long"
    return f"{words} of a slot of {clock(slot_s)}: {clock(abs(left_s))} {side}."


def rows_of(evening: Evening) -> EveningRows:
    """An evening as it is shown."""
    songs = evening.songs
    into = [None, *(join.document for join in evening.joins)]
    return EveningRows(
        evening=evening,
        songs=tuple(_song_row(s, run) for s, run in zip(songs, into, strict=True)),
        joins=tuple(
            JoinRow(join=join, old=old, new=new)
            for join, old, new in zip(evening.joins, songs, songs[1:], strict=False)
        ),
    )


def wanted_times(join: EveningJoin) -> tuple[tuple[str, float], ...]:
    """Name and seconds of talk and changeover at a segue, with what its music covers."""
    return _times(join.wanted_talk_s, join.wanted_changeover_s)


def _times(talk_s: float, changeover_s: float) -> tuple[tuple[str, float], ...]:
    times = (("talk", talk_s), ("changeover", changeover_s))
    return tuple((name, seconds) for name, seconds in times if seconds > 0)


def free_times(join: EveningJoin) -> tuple[tuple[str, float], ...]:
    """Name and seconds of what happens on no beat: talk, a changeover, a segue not made yet."""
    unmade_s = join.interlude_s if join.document is None else 0.0
    unmade = f"{join.recipe}{covered_words(wanted_times(join))} (not made yet)"
    return (
        *(((unmade, unmade_s),) if unmade_s > 0 else ()),
        *_times(join.talk_s, join.changeover_s),
    )


def _song_row(song: EveningSong, into: RunDocument | None) -> SongRow:
    """A song as it is shown; what leads into it is a run, where it is made."""
    edges = [edge for edge in (song.start, song.end) if edge is not None]
    return SongRow(
        song=song,
        keys=tuple(dict.fromkeys(key_words(edge.key) for edge in edges)),
        start_bpm=edges[0].pulse.known_bpm if edges else None,
        end_bpm=edges[-1].pulse.known_bpm if edges else None,
        starts=_starts(song, into),
    )


def _starts(song: EveningSong, into: RunDocument | None) -> str:
    """How it starts, and who sings first on what."""
    if song.start is None:
        return song.problem or ""
    opening = song.start.opening
    note = first_note_name(song.start, None if into is None else into.outgoing)
    parts: list[str] = []
    if opening is not None:
        parts.append(opening_words(opening))
    if note is not None:
        parts.append(f"{song.voice or 'singer'} on {note}")
    elif song.voice:
        parts.append(f"{song.voice} sings")
    return "; ".join(parts)
