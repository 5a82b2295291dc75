"""The fields of a set file: what each may hold, and what to write instead.

A checker takes a TOML value and gives what it means, or raises `FieldFault`
with the rest of a sentence whose subject is the field.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from segue.audio.song_toml import MAX_METRE, MAX_TEMPO_BPM, MIN_TEMPO_BPM
from segue.errors import KeyNameError
from segue.music.key import Key, parse_key
from segue.recipes.position import shown
from segue.setlist.lengths import clock, length_s

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_SONGS: Final = 200
LONGEST_SONG_S: Final = 3600.0
LONGEST_BREAK_S: Final = 1800.0
LONGEST_SLOT_S: Final = 12 * 3600.0
LONGEST_TEXT: Final = 200
MOST_ENERGY: Final = 5
_DAY_S: Final = 24 * 3600.0


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
    "energy": partial(_whole, least=1, most=MOST_ENERGY),
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
