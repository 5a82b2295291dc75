"""A set file changed at the desk: its order, its songs, and what follows each of them.

The user's own words are moved, and only what is said otherwise is written anew. Whoever changes a
set says which songs the page showed, so that two windows do not undo each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final, Literal

from annotated_types import MaxLen

from segue.audition.limits import RequestRefusalError
from segue.catalogue.filling import title_at
from segue.desk.evening_desk import read_set_of, set_path
from segue.desk.orders import Name, Words  # noqa: TC001 - pydantic reads the types
from segue.desk.own_folder import safe_name
from segue.files.toml_lines import toml_value
from segue.files.whole_file import write_whole
from segue.setlist.set_file import Value, parse_set, path_from, reordered_text, set_text, with_field
from segue.setlist.set_list import MOST_SONGS, SetList

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.house import House

_CHANGED, _INVALID = 409, 422  # status codes of HTTP (RFC 9110)
_A_MINUTE_S: Final = 60.0  # seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownSet:
    """A set as it stood on the page that changes it."""

    set: Name
    titles: Annotated[tuple[Words, ...], MaxLen(MOST_SONGS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderBody(ShownSet):
    """Puts a set into another order, or leaves songs out.

    Parameters
    ----------
    order : tuple of int
        Places of the songs that stay, from 0, in the order that is wanted.
    """

    order: Annotated[tuple[int, ...], MaxLen(MOST_SONGS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddBody(ShownSet):
    """Puts a song of the folder at the end of a set."""

    song: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldBody(ShownSet):
    """Says one thing of a set, or of what follows a song in it.

    Parameters
    ----------
    song : int or None
        Place of the song, from 0; None for the slot, which is the set's own.
    value : float, bool or None
        Seconds of talk or changeover, minutes of the slot, or whether a segue follows; None takes
        it back.
    """

    song: int | None
    field: Literal["talk", "changeover", "segue", "slot"]
    value: float | int | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSetBody:
    """Wants a set file of some songs."""

    title: Annotated[str, MaxLen(100)]
    songs: Annotated[tuple[Name, ...], MaxLen(MOST_SONGS)]
    slot: Annotated[str, MaxLen(20)] = ""


def reorder(house: House, body: OrderBody) -> None:
    """Write the set file in another order; its own words are moved, and not rewritten.

    Raises
    ------
    RequestRefusalError
        If it is no order, or the file has changed since the page showed it.
    SegueError
        If the file is faulty, or would be.
    """
    path, set_list = _as_shown(house, body)
    places = set(body.order)
    is_order = body.order and len(places) == len(body.order)
    if not is_order or not places <= set(range(len(set_list.songs))):
        raise RequestRefusalError("That is no order of the songs.", status=_CHANGED)
    paths = [path_from(path.parent, song.path) for song in set_list.songs]
    _write(house, path, reordered_text(set_text(path), body.order, paths))


def add_song(house: House, body: AddBody) -> None:
    """Write one song more at the end of the set file.

    Raises
    ------
    RequestRefusalError
        If the song is not there, or the file has changed since the page showed it.
    SegueError
        If the file is faulty.
    """
    path, set_list = _as_shown(house, body)
    titles = {song.title for song in set_list.songs}
    text = set_text(path)
    _write(house, path, f"{text.rstrip()}\n{_block(house, body.song, titles)}")


def say_of_set(house: House, body: FieldBody) -> None:
    """Write one thing of a set otherwise.

    Raises
    ------
    RequestRefusalError
        If it is no such thing, or the file has changed since the page showed it.
    SegueError
        If the file is faulty, or would be.
    """
    path, set_list = _as_shown(house, body)
    is_of_song = body.field != "slot"
    is_there = body.song in range(len(set_list.songs)) if is_of_song else body.song is None
    if not is_there:
        raise RequestRefusalError("There is no such song in the set.", status=_CHANGED)
    _write(house, path, with_field(set_text(path), path, body.song, body.field, _value(body)))


def _value(body: FieldBody) -> Value:
    """What is written: lengths of time as the file has them, nothing for none."""
    value = body.value
    if (body.field == "segue") != isinstance(value, bool) and value is not None:
        raise RequestRefusalError(f"That is no {body.field}.", status=_INVALID)
    if value is None or isinstance(value, bool):
        return value
    seconds = value * _A_MINUTE_S if body.field == "slot" else value
    if seconds == 0:
        return None
    minutes, rest = divmod(seconds, _A_MINUTE_S)
    return f"{minutes:.0f}m" if body.field == "slot" and not rest else f"{seconds:g}s"


def new_set(house: House, body: NewSetBody) -> str:
    """Write a set file of some songs in their order.

    Gives its name.

    Raises
    ------
    RequestRefusalError
        If a song is not there.
    SegueError
        If the set cannot be.
    """
    path = house.folder.free("", f"{safe_name(body.title, fallback='set')}.toml")
    text = f"schema_version = 1\ntitle = {toml_value(body.title.strip() or 'Set')}\n"
    if body.slot.strip():
        text += f"slot = {toml_value(body.slot.strip())}\n"
    titles: set[str] = set()
    for name in body.songs:
        text += _block(house, name, titles)
    _write(house, path, text)
    return path.name


def _block(house: House, name: str, titles: set[str]) -> str:
    """A song as it stands in a set; its title, which no other has, is added to the titles."""
    plain = title = title_at(house.song(name))
    number = 1
    while title in titles:
        number += 1
        title = f"{plain} ({number})"
    titles.add(title)
    return f"\n[[songs]]\npath = {toml_value(name)}\ntitle = {toml_value(title)}\n"


def _as_shown(house: House, body: ShownSet) -> tuple[Path, SetList]:
    path, set_list = set_path(house, body.set), read_set_of(house, body.set)
    if tuple(song.title for song in set_list.songs) != body.titles:
        raise RequestRefusalError(
            "The set was changed meanwhile: look at it again.", status=_CHANGED
        )
    return path, set_list


def _write(house: House, path: Path, text: str) -> None:
    parse_set(text, path)
    write_whole(path, text.encode())
    house.tell("evening")
