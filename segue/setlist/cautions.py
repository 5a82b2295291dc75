"""What common practice warns of: between two songs, and over the evening.

Common practice, no source: the rules and their thresholds are what bands and
their sound engineers say, and no paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from segue.analysis.facts import EdgeFacts, have_keys, have_pulses
from segue.music.interval import relation
from segue.music.tempo import bpm_number, clock
from segue.setlist.order import is_drop_after_peak

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.setlist.evening import Evening, EveningSong
    from segue.setlist.set_list import SetSong

LONGEST_KEY_RUN: Final = 2
"""A third song in one key tires the ear."""
LONGEST_VOICE_RUN: Final = 5
"""Songs in a row that a singer can be asked for without a song to rest."""
FEWEST_SONGS_TO_TIRE: Final = 3
"""Fewer than these are no evening, whoever sings them."""
EAR_RESTS_S: Final = 10.0
"""After so much talk or changeover the old key is no longer in the ear."""
SHORT_SHARE: Final = 0.1
"""A set that leaves more than this share of its slot empty is short of it."""
_SEMITONES: Final = (1, 11)  # key steps between neighbours that sound sour: a semitone up, and down


class Mend(NamedTuple):
    """Where a caution is mended: in the order, in which songs there are, or what is between two.

    Parameters
    ----------
    kind : {'order', 'fewer', 'more', 'between', 'file'}
        The song's place; without it; with another one beside it; what follows it; its file.
    song : int
        Number of the song, from 1.
    """

    kind: Literal["order", "fewer", "more", "between", "file"]
    song: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What is warned of, and where it is mended.

    Parameters
    ----------
    mends : tuple of Mend
        In the order of the sentence.
    """

    words: str
    mends: tuple[Mend, ...]


def evening_cautions(evening: Evening, songs: Sequence[SetSong]) -> tuple[Caution, ...]:
    """What is to be said of the evening as a whole, whatever is chosen at its joins.

    Parameters
    ----------
    songs : sequence of SetSong
        In the same order.
    """
    return (
        *broken_pins(songs),
        *_one_key(evening.songs),
        *_no_break(songs),
        *_after_the_last(songs),
        *_unreadable(evening.songs),
    )


def broken_pins(songs: Sequence[SetSong]) -> Iterator[Caution]:
    """What is to be said of pins that the songs break in this very order."""
    for n, (old, song) in enumerate(zip([None, *songs[:-1]], songs, strict=True), start=1):
        for words in _broken_pin(old, song, n, len(songs)):
            yield Caution(words=words, mends=(Mend("order", n),))


def _broken_pin(old: SetSong | None, song: SetSong, n: int, n_songs: int) -> Iterator[str]:
    if song.opens and n != 1:
        yield f"'{song.title}' is marked as opener, but stands at place {n}."
    if song.closes and n != n_songs:
        yield f"'{song.title}' is marked as closer, but stands at place {n} of {n_songs}."
    if song.at is not None and song.at != n:
        yield f"'{song.title}' is marked for place {song.at}, but stands at place {n}."
    if song.after is not None and (old is None or old.title != song.after):
        yield f"'{song.title}' is marked to come right after '{song.after}', and does not."
    if old is not None and (old.title in song.not_beside or song.title in old.not_beside):
        yield f"'{song.title}' is marked not to stand beside '{old.title}', and does."


def join_cautions(
    old: SetSong, end: EdgeFacts, new: SetSong, start: EdgeFacts, *, number: int = 1
) -> Iterator[Caution]:
    """What is to be said of two neighbours, by the end of the old song and the start of the new.

    Parameters
    ----------
    number : int
        Of the old song.
    """
    step = (start.key.key.tonic - end.key.key.tonic) % 12
    is_rested = old.talk_s + old.changeover_s >= EAR_RESTS_S
    if have_keys(end, start) and step in _SEMITONES and not (old.is_segue or is_rested):
        words = (
            f"{relation(end.key.key, start.key.key)}: without a segue, '{old.title}' into "
            f"'{new.title}' sounds like a mistake. Lead over, talk, or put a song between."
        )
        yield Caution(words=words, mends=(Mend("between", number), Mend("order", number + 1)))
    ratio = start.pulse.tempo_bpm / end.pulse.tempo_bpm
    if have_pulses(end, start) and is_drop_after_peak(old, ratio):
        words = (
            f"From '{old.title}' at drive {old.energy} to '{new.title}' the tempo drops from "
            f"{bpm_number(end.pulse.tempo_bpm)} to {bpm_number(start.pulse.tempo_bpm)} BPM: the "
            "room falls from its peak. Put a song between, or make it a pause on purpose."
        )
        yield Caution(words=words, mends=(Mend("order", number + 1), Mend("between", number)))


def _one_key(songs: Sequence[EveningSong]) -> Iterator[Caution]:
    for run in _runs([_stays(a, b) for a, b in pairwise(songs)]):
        row = songs[run.start : run.stop + 1]
        first = row[0].end
        if len(row) > LONGEST_KEY_RUN and first is not None:
            words = (
                f"{len(row)} songs in a row are in {first.key.key}: {_named(row)}; "
                "put another key between."
            )
            yield Caution(words=words, mends=(Mend("order", _middle(run)),))


def _stays(old: EveningSong, new: EveningSong) -> bool:
    if old.end is None or new.start is None:
        return False
    return have_keys(old.end, new.start) and old.end.key.key == new.start.key.key


def _no_break(songs: Sequence[SetSong]) -> Iterator[Caution]:
    same = [a.voice is not None and a.voice == b.voice for a, b in pairwise(songs)]
    for run in _runs(same):
        row = songs[run.start : run.stop + 1]
        is_all = len(row) == len(songs) >= FEWEST_SONGS_TO_TIRE
        if len(row) > LONGEST_VOICE_RUN or is_all:
            words = (
                f"{row[0].voice} sings {len(row)} songs without a break, from '{row[0].title}' to "
                f"'{row[-1].title}': put a song between that another voice or nobody sings."
            )
            mends = (Mend("order", _middle(run)), Mend("more", _middle(run)))
            yield Caution(words=words, mends=mends)


def _middle(run: range) -> int:
    """Number of the song in the middle of a stretch of joins, from 1."""
    return (run.start + run.stop) // 2 + 1


def _after_the_last(songs: Sequence[SetSong]) -> Iterator[Caution]:
    song = songs[-1]
    named = [name for name, s in (("talk", song.talk_s), ("changeover", song.changeover_s)) if s]
    if named:
        words = (
            f"'{song.title}' comes last: its {' and '.join(named)} would follow the evening and "
            f"{'is' if len(named) == 1 else 'are'} not counted."
        )
        last = len(songs)
        yield Caution(words=words, mends=(Mend("between", last), Mend("order", last)))


def slot_cautions(evening: Evening) -> Iterator[Caution]:
    """What is to be said of the slot; it changes with the times, and so with what is chosen."""
    if evening.slot_s is None:
        return
    over_s = evening.running_s - evening.slot_s
    words = f"the set runs {clock(evening.running_s)}, the slot is {clock(evening.slot_s)}"
    spoken = max(evening.joins, key=lambda join: join.wanted_talk_s or join.talk_s, default=None)
    talk = Mend("between", spoken.number if spoken else 1)
    if over_s > 0.0:
        told = f"Too long by {clock(over_s)}: {words}; take a song or some talk out."
        yield Caution(words=told, mends=(Mend("fewer", _best_left_out(evening, over_s)), talk))
    elif -over_s > SHORT_SHARE * evening.slot_s:
        told = f"Short by {clock(-over_s)}: {words}; there is room for another song or more talk."
        yield Caution(words=told, mends=(Mend("more", len(evening.songs)), talk))


def _best_left_out(evening: Evening, over_s: float) -> int:
    """Number of the shortest song without which the set fits, or of the longest where none does."""
    lengths = {song.number: song.end_s - song.start_s for song in evening.songs}
    enough = {number: s for number, s in lengths.items() if s >= over_s}
    return min(enough, key=enough.__getitem__) if enough else max(lengths, key=lengths.__getitem__)


def _unreadable(songs: Sequence[EveningSong]) -> Iterator[Caution]:
    for song in songs:
        if song.problem is not None:
            mends = (Mend("file", song.number), Mend("fewer", song.number))
            yield Caution(words=song.problem, mends=mends)
            if not song.length_s:
                words = (
                    f"All times are without '{song.title}', which cannot be read: mend it, or "
                    "give its length in the set."
                )
                yield Caution(words=words, mends=mends)


def _runs(flags: Sequence[bool]) -> Iterator[range]:
    """Stretches of true, as ranges of their places."""
    start = 0
    for n, flag in enumerate([*flags, False]):
        if not flag:
            if n > start:
                yield range(start, n)
            start = n + 1


def _named(songs: Sequence[EveningSong]) -> str:
    return ", ".join(f"'{song.title}'" for song in songs)
