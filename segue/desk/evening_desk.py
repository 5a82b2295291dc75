"""The evening on the desk: a set file, put into another order, planned and made."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final

from annotated_types import MaxLen

from segue.audition.limits import RequestRefusalError
from segue.catalogue.filling import title_at
from segue.desk.house import EVENINGS
from segue.desk.maker import SetOrder
from segue.desk.orders import Name, Words  # noqa: TC001 - pydantic reads the types
from segue.desk.own_folder import NOT_FOUND, safe_name
from segue.errors import SegueError
from segue.files.whole_file import write_whole
from segue.setlist.set_document import SET_NAME, read_evening
from segue.setlist.set_file import parse_set, path_from, read_set, reordered_text, set_text
from segue.setlist.set_list import MOST_SONGS
from segue.setlist.set_request import SetRequest

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.house import House
    from segue.desk.maker import OrderedRun
    from segue.setlist.evening import Evening
    from segue.setlist.set_list import SetList

_CHANGED: Final = 409  # status code of HTTP (RFC 9110)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderBody:
    """Puts a set into another order.

    Parameters
    ----------
    titles : tuple of str
        Of the songs as they stood on the page, so that two windows do not undo each other.
    order : tuple of int
        Their places, from 0, in the order that is wanted.
    """

    set: Name
    titles: Annotated[tuple[Words, ...], MaxLen(MOST_SONGS)]
    order: Annotated[tuple[int, ...], MaxLen(MOST_SONGS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSetBody:
    """Wants a set file of some songs."""

    title: Annotated[str, MaxLen(100)]
    songs: Annotated[tuple[Name, ...], MaxLen(MOST_SONGS)]
    slot: Annotated[str, MaxLen(20)] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetBody:
    """Wants an evening planned, or made with every join."""

    set: Name
    plan_only: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningView:
    """A set as the desk shows it.

    Parameters
    ----------
    evening : Evening or None
        As it was last planned or made in this very order; None where it was not.
    making : OrderedRun or None
        What is being done for it.
    song_names : tuple of str
        Of its songs below the desk's folder; empty for one that lies elsewhere.
    folder : str
        Name of the evening's folder.
    """

    name: str
    set_list: SetList
    evening: Evening | None
    making: OrderedRun | None
    song_names: tuple[str, ...]
    folder: str


def set_names(house: House) -> tuple[str, ...]:
    """Set files that lie in the folder itself."""
    found = []
    for path in sorted(house.folder.root.glob("*.toml")):
        is_song = path.name == "song.toml" or path.name.endswith(".song.toml")
        if is_song or path.name.startswith(".") or path.is_symlink() or not path.is_file():
            continue
        try:
            if "[[songs]]" in set_text(path):
                found.append(path.name)
        except SegueError:
            continue
    return tuple(found)


def evening_view(house: House, name: str) -> EveningView:
    """A set and what is known of its evening.

    Raises
    ------
    RequestRefusalError
        If there is no such set, or a song of it lies outside of the folder.
    SegueError
        If the set file is faulty.
    """
    set_list = _read(house, name)
    out = _out(house, name)
    return EveningView(
        name=name,
        set_list=set_list,
        evening=_known(out, set_list),
        making=_making(house, name),
        song_names=tuple(_name_of(house, song.path) for song in set_list.songs),
        folder=house.folder.name_of(out),
    )


def reorder(house: House, body: OrderBody) -> None:
    """Write the set file in another order; its own words are moved, and not rewritten.

    Raises
    ------
    RequestRefusalError
        If it is no order, or the file has changed since the page showed it.
    SegueError
        If the file is faulty.
    """
    path = _path(house, body.set)
    set_list = _read(house, body.set)
    if tuple(song.title for song in set_list.songs) != body.titles:
        raise RequestRefusalError(
            "The set was changed meanwhile: look at it again.", status=_CHANGED
        )
    if sorted(body.order) != list(range(len(set_list.songs))):
        raise RequestRefusalError("That is no order of the songs.", status=_CHANGED)
    paths = [path_from(path.parent, song.path) for song in set_list.songs]
    text = reordered_text(set_text(path), body.order, paths)
    parse_set(text, path)
    write_whole(path, text.encode())
    house.tell("evening")


def new_set(house: House, body: NewSetBody) -> str:
    """Write a set file of some songs in their order.

    Returns
    -------
    str
        Its name.

    Raises
    ------
    RequestRefusalError
        If a song is not there.
    SegueError
        If the set cannot be.
    """
    path = house.folder.free("", f"{safe_name(body.title, fallback='set')}.toml")
    lines = ["schema_version = 1", f"title = {_quoted(body.title.strip() or 'Set')}"]
    if body.slot.strip():
        lines.append(f"slot = {_quoted(body.slot.strip())}")
    seen: dict[str, int] = {}  # titles are unique in a set
    for name in body.songs:
        title = title_at(house.song(name))
        seen[title] = seen.get(title, 0) + 1
        title = title if seen[title] == 1 else f"{title} ({seen[title]})"
        lines += ["", "[[songs]]", f"path = {_quoted(name)}", f"title = {_quoted(title)}"]
    text = "\n".join(lines) + "\n"
    parse_set(text, path)
    write_whole(path, text.encode())
    house.tell("evening")
    return path.name


def order_evening(house: House, body: SetBody) -> None:
    """Have an evening planned, or made with every join.

    Raises
    ------
    SegueError
        If the set file is faulty, or another thing lies where the evening should be.
    """
    from segue.setlist.set_request import check_request

    request = SetRequest(
        set_list=_read(house, body.set),
        out=_out(house, body.set),
        own_recipes=house.rules.own_recipes,
        own_weights=house.rules.own_weights,
    )
    check_request(request)
    house.maker.order(SetOrder(request=request, plan_only=body.plan_only), body.set)
    house.tell("evening")


def _path(house: House, name: str) -> Path:
    path = house.folder.inside(name)
    if path.suffix != ".toml" or path.parent != house.folder.root or not path.is_file():
        raise RequestRefusalError("There is no such set.", status=NOT_FOUND)
    return path


def _read(house: House, name: str) -> SetList:
    set_list = read_set(_path(house, name))
    for song in set_list.songs:
        if not house.folder.holds(song.path):
            raise RequestRefusalError(
                f"'{song.title}' lies outside of the folder: move it in, or make this evening "
                "with 'segue set'.",
                status=NOT_FOUND,
            )
    return set_list


def _out(house: House, name: str) -> Path:
    return house.folder.inside(
        f"{EVENINGS}/{safe_name(name.removesuffix('.toml'), fallback='set')}"
    )


def _known(out: Path, set_list: SetList) -> Evening | None:
    if not (out / SET_NAME).is_file():
        return None
    try:
        evening = read_evening(out)
    except SegueError:
        return None
    titles = [song.title for song in evening.songs]
    return evening if titles == [song.title for song in set_list.songs] else None


def _making(house: House, name: str) -> OrderedRun | None:
    own = [
        making
        for making in house.maker.makings.values()
        if isinstance(making.request, SetOrder) and making.run == name
    ]
    return own[-1] if own else None


def _name_of(house: House, path: Path) -> str:
    from segue.catalogue.scan import absolute

    place = absolute(path)
    return house.folder.name_of(place) if place.is_relative_to(house.folder.root) else ""


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
