"""What a band may write of its evening: its songs, their fields, and what these rule out.

A checker of a field takes a TOML value and gives what it means, or raises `FieldFault` with the
rest of a sentence whose subject is the field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from segue.audio.clip import Overrides
from segue.audio.song_toml import MAX_METRE, MAX_TEMPO_BPM, MIN_TEMPO_BPM
from segue.errors import KeyNameError, did_you_mean
from segue.music.key import Key, parse_key
from segue.music.tempo import clock, length_s
from segue.recipes.position import shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path


MOST_SONGS: Final = 200  # of an evening; far beyond use, a bound on work
LONGEST_SONG_S: Final = 3600.0  # an hour; beyond it, a slip of the pen is likelier
LONGEST_BREAK_S: Final = 1800.0  # half an hour, of talk or of a changeover
LONGEST_SLOT_S: Final = 12 * 3600.0  # half a day on stage
LONGEST_TEXT: Final = 200  # letters of a title or a note
MOST_ENERGY: Final = 5  # the scale of drive is 1 to 5
_DAY_S: Final = 24 * 3600.0  # a time in a file lies within a day


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSong:
    """A song of the set, and what happens after it.

    Parameters
    ----------
    path : Path
        An audio file or a folder of stems.
    title : str
        Unique in the set.
    length_s : float or None
        How long the band plays it; None for as long as the file.
    energy : int or None
        How hard it drives, 1 to 5: `drive` in the file.
    opens, closes : bool
        Whether it must come first or last.
    at : int or None
        The place it must have, from 1.
    after : str or None
        Title of the song that it must directly follow.
    not_beside : tuple of str
        Titles that must not be its neighbours.
    talk_s, changeover_s : float
        Talk, and retuning or swapping instruments, after this song.
    is_segue : bool
        Whether music leads to the next song, whichever that is; False for a plain stop.
    recipe : str or None
        The only recipe to be used for that.
    """

    path: Path
    title: str
    overrides: Overrides = field(default_factory=Overrides)
    length_s: float | None = None
    energy: int | None = None
    voice: str | None = None
    opens: bool = False
    closes: bool = False
    at: int | None = None
    after: str | None = None
    not_beside: tuple[str, ...] = ()
    talk_s: float = 0.0
    changeover_s: float = 0.0
    is_segue: bool = True
    recipe: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetList:
    """The set as written.

    Parameters
    ----------
    songs : tuple of SetSong
        In the order of the file; at least one.
    """

    title: str
    slot_s: float | None
    songs: tuple[SetSong, ...]


class FieldFault(ValueError):  # noqa: N818 - a fault in a file, told with its line
    """What is wrong with a value, as the rest of a sentence after its field."""


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise FieldFault(f"is {shown(value)}; write words in quotes")
    text = value.strip()
    if not text:
        raise FieldFault("is empty; leave the line out, or write something in it")
    if len(text) > LONGEST_TEXT or not text.isprintable():
        raise FieldFault(f"must be one line; write {LONGEST_TEXT} letters at most")
    return text


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise FieldFault(f'is {shown(value)}; write a list of titles, such as ["Low Tide"]')
    return tuple(_text(item) for item in value)


def _yes_or_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise FieldFault(f"is {shown(value)}; write true or false, without quotes")
    return value


def _whole(value: object, *, least: int, most: int, unit: str = "") -> int:
    words = f"{least} to {most}{unit}"
    if isinstance(value, bool) or not isinstance(value, int):
        raise FieldFault(f"is {shown(value)}; write a whole number, {words}")
    if not least <= value <= most:
        raise FieldFault(f"is {value}, outside {words}; keep within")
    return value


def _number(value: object, *, least: float, most: float, unit: str) -> float:
    words = f"{least:g} to {most:g} {unit}"
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise FieldFault(f"is {shown(value)}; write a number without quotes, {words}")
    if not least <= value <= most:
        raise FieldFault(f"is {value:g}, outside {words}; keep within")
    return float(value)


def _length(value: object, *, most_s: float, example: str, least_s: float = 1.0) -> float:
    seconds = length_s(value) if isinstance(value, str) else None
    if seconds is None:
        raise FieldFault(
            f'is {shown(value)}; write a length of time in quotes, such as "{example}"'
        )
    if not least_s <= seconds <= most_s:
        words = f"{clock(least_s)} to {clock(most_s)}"
        raise FieldFault(f"is {clock(seconds)}, outside {words}; keep within")
    return seconds


def _key(value: object) -> Key:
    try:
        return parse_key(_text(value))
    except KeyNameError as error:
        raise FieldFault(f"is no key: {str(error).removesuffix('.')}") from error


def _version(value: object) -> int:
    if value != 1 or isinstance(value, bool):
        raise FieldFault(f"is {shown(value)}; write schema_version = 1, which this Segue reads")
    return 1


SET_FIELDS: Final[dict[str, Callable[[Any], Any]]] = {
    "schema_version": _version,
    "title": _text,
    "slot": partial(_length, most_s=LONGEST_SLOT_S, example="45m", least_s=60.0),
}
"""Fields at the top of the file, beside the songs."""

SONG_FIELDS: Final[dict[str, Callable[[Any], Any]]] = {
    "path": _text,
    "title": _text,
    "key": _key,
    "tempo_bpm": partial(_number, least=MIN_TEMPO_BPM, most=MAX_TEMPO_BPM, unit="beats a minute"),
    "metre": partial(_whole, least=1, most=MAX_METRE, unit=" beats a bar"),
    "first_downbeat_s": partial(_number, least=0.0, most=_DAY_S, unit="seconds into the file"),
    "length": partial(_length, most_s=LONGEST_SONG_S, example="3:45", least_s=10.0),
    "drive": partial(_whole, least=1, most=MOST_ENERGY),
    "voice": _text,
    "opens": _yes_or_no,
    "closes": _yes_or_no,
    "at": partial(_whole, least=1, most=MOST_SONGS),
    "after": _text,
    "not_beside": _texts,
    "talk": partial(_length, most_s=LONGEST_BREAK_S, example="25s"),
    "changeover": partial(_length, most_s=LONGEST_BREAK_S, example="40s"),
    "segue": _yes_or_no,
    "recipe": _text,
}
"""Fields of a song."""

OLDER_NAMES: Final = {"energy": "drive"}
"""Names that fields had in sets of an older Segue; they are read as ever."""

Fault = tuple[tuple[str | int, ...], str]
"""Place in the file, and a sentence."""


def set_faults(songs: Sequence[SetSong | None]) -> Iterator[Fault]:
    """What songs of one set may not say of each other, whatever the order.

    Parameters
    ----------
    songs : sequence of SetSong or None
        None for a song that could not be read.
    """
    first: dict[str, int] = {}
    for n, song in enumerate(songs):
        if song is None:
            continue
        if song.title in first:
            words = (
                f"song {n + 1} is called '{song.title}' like song {first[song.title] + 1}: "
                "give one of them another title."
            )
            yield ("songs", n, "title"), words
        first.setdefault(song.title, n)
    # A title that could not be read may be the one that is meant.
    known = set(first) if None not in songs else None
    for n, song in enumerate(songs):
        if song is not None:
            yield from _of_one(song, n, len(songs))
            if known is not None:
                yield from _of_titles(song, n, known)
    yield from _twice(songs, "opens")
    yield from _twice(songs, "closes")


def _of_one(song: SetSong, n: int, n_songs: int) -> Iterator[Fault]:
    if song.opens and song.closes and n_songs > 1:
        yield ("songs", n, "closes"), f"'{song.title}' cannot both open and close the set."
    if song.at is not None and song.at > n_songs:
        yield (
            ("songs", n, "at"),
            f"'at' of song {n + 1} is {song.at}, but there are {n_songs} songs.",
        )
    if song.opens and song.after is not None:
        yield ("songs", n, "after"), f"'{song.title}' opens the set and cannot come after a song."
    if song.recipe is not None and not song.is_segue:
        words = (
            f"'{song.title}' is followed by a plain stop, which takes no recipe: leave out "
            "the recipe, or write segue = true."
        )
        yield ("songs", n, "recipe"), words


def _of_titles(song: SetSong, n: int, known: set[str]) -> Iterator[Fault]:
    named = [("after", song.after)] if song.after is not None else []
    named += [("not_beside", title) for title in song.not_beside]
    for name, title in named:
        place = ("songs", n, name)
        if title == song.title:
            yield place, f"'{name}' of song {n + 1} names the song itself."
        elif title not in known:
            hint = did_you_mean(title, known) or f" There are {', '.join(sorted(known))}."
            yield place, f"'{name}' of song {n + 1} names '{title}', which is no title here.{hint}"
    if song.after is not None and song.after in song.not_beside:
        words = f"'{song.title}' must follow '{song.after}' and must not be beside it."
        yield ("songs", n, "not_beside"), words


def _twice(songs: Sequence[SetSong | None], name: str) -> Iterator[Fault]:
    those = [n for n, song in enumerate(songs) if song is not None and getattr(song, name)]
    for n in those[1:]:
        yield ("songs", n, name), f"songs {those[0] + 1} and {n + 1} both have {name} = true."
