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
    """A song of the evening.

    Parameters
    ----------
    start_s, end_s : float
        On the clock of the evening, from its start.
    keys : tuple of str
        The key at its start and, where it is another, at its end; 'none heard' for none, empty
        for a song that was not heard at all.
    start_bpm, end_bpm : float or None
        None in free time, or where the song was not heard.
    starts : str
        Who starts, and how.
    """

    number: int
    title: str
    start_s: float
    end_s: float
    keys: tuple[str, ...]
    start_bpm: float | None
    end_bpm: float | None
    energy: int | None
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
    """What is between two songs.

    Parameters
    ----------
    start_s, end_s : float
        From the old song's exit to the new one's bar one, on the evening's clock.
    steps : tuple of str
        Steps in key and tempo from the old song's end to the new one's start.
    is_segue : bool
        Whether music is to lead over.
    has_tempo_step : bool
        Whether the last of the steps is one in tempo.
    folder : str
        Name of the run folder in the evening's; empty where there is none.
    free : tuple of (str, float)
        Name and seconds of talk and changeover on no beat.
    wanted : tuple of (str, float)
        Of both at a segue, with what its music covers.
    """

    number: int
    from_title: str
    to_title: str
    start_s: float
    end_s: float
    steps: tuple[str, ...] = ()
    folder: str = ""
    document: RunDocument | None = None
    free: tuple[tuple[str, float], ...] = ()
    wanted: tuple[tuple[str, float], ...] = ()
    warnings: tuple[str, ...] = ()
    is_segue: bool = True
    has_tempo_step: bool = False

    @property
    def record(self) -> CandidateRecord | None:
        """The option that is played: the chosen one, or else the best scored."""
        return None if self.document is None else candidate_of(self.document, None)

    @property
    def is_chosen(self) -> bool:
        """Whether the band has chosen."""
        return self.document is not None and self.document.choice is not None

    @property
    def words(self) -> str:
        """What happens, in one or two sentences."""
        free = ", ".join(f"{name} {seconds:.0f} s" for name, seconds in self.free)
        if self.record is None:
            plain = "No segue could be made" if self.is_segue else "A plain stop"
            return f"{capital(free or plain)}."
        length = f"{self.record.length_words}{covered_words(self.wanted)}"
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

    title: str
    songs: tuple[SongRow, ...]
    joins: tuple[JoinRow, ...]
    slot_s: float | None = None
    warnings: tuple[str, ...] = ()

    @property
    def join_warnings(self) -> tuple[tuple[int, str], ...]:
        """Every warning of a join, with its number."""
        return tuple((join.number, words) for join in self.joins for words in join.warnings)

    @property
    def running_s(self) -> float:
        """From the start to the end of the last song."""
        return self.songs[-1].end_s if self.songs else 0.0

    @property
    def open_words(self) -> str:
        """Which segues the band has still to choose, and what counts until then; '' for none."""
        made = [join for join in self.joins if join.record is not None]
        numbers = [str(join.number) for join in made if not join.is_chosen]
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
        return f"{len(self.songs)} songs, {running_words(self.running_s, self.slot_s)}"


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
        title=evening.title,
        songs=tuple(song_row(s, run) for s, run in zip(songs, into, strict=True)),
        joins=tuple(
            _join_row(join, old, new)
            for join, old, new in zip(evening.joins, songs, songs[1:], strict=False)
        ),
        slot_s=evening.slot_s,
        warnings=(*(c.words for c in slot_cautions(evening)), *evening.warnings),
    )


def step_words(join: EveningJoin, old: EveningSong, new: EveningSong) -> tuple[str, ...]:
    """Steps in key and tempo at a join, as far as both songs have one.

    Returns
    -------
    tuple of str
        Such as 'up a semitone (hard)' and '23 % slower'.
    """
    words = []
    if join.key_distance is not None and old.end is not None and new.start is not None:
        name = interval_name(old.end.key.key, new.start.key.key)
        same = old.end.key.key == new.start.key.key
        words.append(name if same else f"{name} ({effort(join.key_distance)})")
    if join.tempo_ratio is not None:
        words.append(tempo_step_words(join.tempo_ratio))
    return tuple(words)


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


def song_row(song: EveningSong, into: RunDocument | None = None) -> SongRow:
    """A song as it is shown.

    Parameters
    ----------
    into : RunDocument, optional
        The run that leads into it.
    """
    edges = [edge for edge in (song.start, song.end) if edge is not None]
    return SongRow(
        number=song.number,
        title=song.title,
        start_s=song.start_s,
        end_s=song.end_s,
        keys=tuple(dict.fromkeys(key_words(edge.key) for edge in edges)),
        start_bpm=edges[0].pulse.known_bpm if edges else None,
        end_bpm=edges[-1].pulse.known_bpm if edges else None,
        energy=song.energy,
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


def _join_row(join: EveningJoin, old: EveningSong, new: EveningSong) -> JoinRow:
    return JoinRow(
        number=join.number,
        from_title=old.title,
        to_title=new.title,
        start_s=join.start_s,
        end_s=join.end_s,
        steps=step_words(join, old, new),
        folder=join.folder,
        document=join.document,
        free=free_times(join),
        wanted=wanted_times(join),
        is_segue=join.is_segue,
        has_tempo_step=join.tempo_ratio is not None,
        warnings=(*join.warnings, *([] if join.problem is None else [join.problem])),
    )
