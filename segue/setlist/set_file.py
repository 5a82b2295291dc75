"""Set files: a band's evening in TOML, read strictly, and changed in single places.

What may stand in one is told in ``docs/set-list.md``. Every fault is told with its line. In another
order, or where one field says something else, the user's own words are moved, and not rewritten.
"""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from segue.audio.clip import Overrides
from segue.audio.stems_folder import promises_sound, title_at, title_of
from segue.errors import InputError, LinesError, did_you_mean, disk_faults, printable
from segue.files.toml_lines import Path as Place
from segue.files.toml_lines import (
    checked_table,
    line_of,
    toml_lines,
    toml_table,
    toml_text,
    toml_value,
)
from segue.files.whole_file import write_whole
from segue.recipes.position import shown
from segue.setlist.set_list import (
    MOST_SONGS,
    OLDER_NAMES,
    SET_FIELDS,
    SONG_FIELDS,
    Fault,
    FieldFault,
    SetList,
    SetSong,
    set_faults,
)
from segue.stage.pack import OUR_MARKS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence


LARGEST_BYTES: Final = 1 << 18
"""A set list is a page or two; anything larger was named by mistake."""
_GIVEN: Final = ("key", "tempo_bpm", "metre", "first_downbeat_s")
_AS_THEY_ARE: Final = ("voice", "at", "after", "recipe")


NEW_SET_NAME: Final = "reordered.toml"
_PATH: Final = re.compile(r"""^(\s*path\s*=\s*)("(?:[^"\\]|\\.)*"|'[^']*')""", re.MULTILINE)


class SetFileError(LinesError):
    """A set file that says something impossible."""


def read_set(path: Path) -> SetList:
    """Read a set file, or take the songs of a folder as a set.

    Parameters
    ----------
    path : Path
        A TOML file, from whose folder the songs' paths count; or a folder of songs.

    Raises
    ------
    SetFileError
        If it cannot be read or says something impossible: all faults at once, each with its line.
    InputError
        If a folder holds no songs, or may not be listed.
    """
    return parse_set(set_text(path), path / NEW_SET_NAME if path.is_dir() else path)


def parse_set(text: str, path: Path) -> SetList:
    """A set from the text of its file; see `read_set`."""
    table = checked_table(text, path, fault=SetFileError)
    faults: list[Fault] = []
    top = _checked({k: v for k, v in table.items() if k != "songs"}, SET_FIELDS, (), faults)
    songs = _songs(table, path.parent, faults)
    faults += (
        ((name,), f"'{name}' is missing: write {example}.")
        for name, example in (("schema_version", "schema_version = 1"), ("title", 'title = "…"'))
        if name not in table
    )
    faults += set_faults(songs)
    if faults:
        lines = toml_lines(text)
        told = sorted((line_of(lines, place), sentence) for place, sentence in faults)
        raise SetFileError(path, *told)
    return SetList(
        title=top["title"],
        slot_s=top.get("slot"),
        songs=tuple(song for song in songs if song is not None),
    )


def set_text(path: Path) -> str:
    """The text of a set file; of a folder, the one that somebody would write of its songs."""
    if path.is_dir():
        return _text_of_folder(path)
    return toml_text(path, most_bytes=LARGEST_BYTES, fault=SetFileError, named="a set file")


def _text_of_folder(folder: Path) -> str:
    """Its songs, each a file or a folder of stems, in the order of their names: 2 before 10."""
    with disk_faults(folder, "may not be listed ({}); name a set file or a folder of songs."):
        songs = sorted(filter(_holds_sound, folder.iterdir()), key=_by_numbers)
    if not songs:
        raise InputError(folder, "holds no songs; name a set file or a folder of songs.")
    for song in songs:
        if printable(song.name) != song.name:
            raise InputError(song, "has a name that no set file can hold; give it another.")
    title = title_of(folder.resolve().name)
    head = f"schema_version = 1\ntitle = {toml_value(title)}\n"
    return head + "".join(f"\n[[songs]]\npath = {toml_value(song.name)}\n" for song in songs)


def _holds_sound(path: Path) -> bool:
    """Whether it is an audio file, or a folder in which there is one and nothing that we made."""
    if not path.is_dir():
        return promises_sound(path)
    files = [file for file in path.iterdir() if not file.is_dir()]
    if path.name.startswith(".") or any(file.name in OUR_MARKS for file in files):
        return False
    return any(map(promises_sound, files))


def _by_numbers(path: Path) -> list[str | int]:
    parts = re.split(r"(\d+)", path.name.casefold())
    return [int(part) if n % 2 else part for n, part in enumerate(parts)]


def _songs(table: Mapping[str, Any], folder: Path, faults: list[Fault]) -> list[SetSong | None]:
    """Every song that could be read; None where one could not."""
    items = table.get("songs")
    if not isinstance(items, list) or not items or not all(isinstance(i, dict) for i in items):
        words = "there are no songs: head each with [[songs]], in two brackets, and give its path."
        faults.append((("songs",), words))
        return []
    if len(items) > MOST_SONGS:
        faults.append((("songs",), f"there are {len(items)} songs; at most {MOST_SONGS} are read."))
        return []
    return [_song(item, n, folder, faults) for n, item in enumerate(items)]


def _song(item: Mapping[str, Any], n: int, folder: Path, faults: list[Fault]) -> SetSong | None:
    n_before = len(faults)
    found = _checked(item, SONG_FIELDS, ("songs", n), faults)
    if "path" not in item:
        words = f'song {n + 1} has no path: write path = "song.wav", a file or a folder of stems.'
        faults.append((("songs", n), words))
    if len(faults) > n_before:
        return None
    path = folder / found["path"]
    return SetSong(
        path=path,
        title=found.get("title") or title_at(path),
        overrides=Overrides(**{name: found.get(name) for name in _GIVEN}),
        length_s=found.get("length"),
        energy=found.get("drive"),
        opens=found.get("opens", False),
        closes=found.get("closes", False),
        not_beside=found.get("not_beside", ()),
        talk_s=found.get("talk", 0.0),
        changeover_s=found.get("changeover", 0.0),
        is_segue=found.get("segue", "changeover" not in found),
        **{name: found.get(name) for name in _AS_THEY_ARE},
    )


def _checked(
    table: Mapping[str, Any],
    fields: Mapping[str, Callable[[Any], Any]],
    place: tuple[str | int, ...],
    faults: list[Fault],
) -> dict[str, Any]:
    """Every field that holds what it may; the others are added to the faults."""
    found = {}
    for typed, value in table.items():
        name = OLDER_NAMES.get(typed, typed)
        if name != typed and name in table:
            words = f"'{typed}'{_of(place)} is '{name}' by its older name: leave it out."
            faults.append(((*place, typed), words))
        elif name not in fields:
            known = ", ".join(fields)
            hint = did_you_mean(name, fields) or f" Use one of these: {known}."
            faults.append(((*place, name), f"{shown(name)} is no field{_of(place)}.{hint}"))
        else:
            try:
                found[name] = fields[name](value)
            except FieldFault as fault:
                faults.append(((*place, typed), f"'{typed}'{_of(place)} {fault}."))
    return found


def _of(place: tuple[str | int, ...]) -> str:
    return f" of song {int(place[1]) + 1}" if place else ""


def write_reordered(out: Path, file: Path, set_list: SetList, order: Sequence[int]) -> None:
    """The user's own file in another order, beside the evening; never over the user's file.

    Raises
    ------
    InputError
        If it would be written over the user's file.
    """
    path = out / NEW_SET_NAME
    if path.resolve() == file.resolve():
        raise InputError(path, "is the set itself and is not written over: name another --out.")
    paths = [path_from(out, song.path) for song in set_list.songs]
    text = reordered_text(set_text(file), order, paths)
    parse_set(text, path)
    write_whole(path, text.encode())


def reordered_text(text: str, order: Sequence[int], paths: Sequence[str]) -> str:
    r"""A set file's text with its songs in another order.

    Parameters
    ----------
    text : str
        TOML with its songs under ``[[songs]]``.
    order : sequence of int
        Indices of the songs as they stand.
    paths : sequence of str
        What each song's path is to be, as they stand.

    Returns
    -------
    str
        What stood before the first song comes first; comments above a song's heading move
        with it.

    Examples
    --------
    >>> text = "title = 'x'\n[[songs]]\npath = 'a'\n[[songs]]\npath = 'b'\n"
    >>> print(reordered_text(text, (1, 0), ("a", "b")), end="")
    title = 'x'
    [[songs]]
    path = "b"
    [[songs]]
    path = "a"
    """
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    starts = _starts(text, lines)
    ends = [*starts[1:], len(lines)]
    blocks = ["".join(lines[a:b]) for a, b in zip(starts, ends, strict=True)]
    moved = [_with_path(blocks[n], paths[n]) for n in order]
    return "".join(lines[: starts[0]]) + "".join(moved)


def path_from(folder: Path, song: Path) -> str:
    """Path of a song from another folder, with forward slashes; absolute on another drive."""
    try:
        return Path(os.path.relpath(song.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return song.resolve().as_posix()


def _starts(text: str, lines: Sequence[str]) -> list[int]:
    """Line of every song's heading, from 0, moved up over the comments right above it."""
    places = toml_lines(text)
    headings = sorted(line - 1 for place, line in places.items() if _is_song(place))
    starts = []
    for heading in headings:
        start = heading
        while start and lines[start - 1].lstrip().startswith("#"):
            start -= 1
        starts.append(start)
    return starts


def _is_song(place: tuple[str | int, ...]) -> bool:
    return len(place) == 2 and place[0] == "songs"  # noqa: PLR2004 - its list and its number


def _with_path(block: str, path: str) -> str:
    return _PATH.sub(lambda match: match[1] + toml_value(path), block, count=1)


Value = str | bool | None
"""Of a field; None leaves it out."""
_VALUE: Final = r"""("(?:[^"\\]|\\.)*"|'[^']*'|[^\s#"'\[{]+)"""


def with_field(text: str, path: Path, song: int | None, name: str, value: Value) -> str:
    r"""A set file's text in which a field says something else.

    Parameters
    ----------
    text : str
        Of a set file that can be read.
    song : int or None
        Which song's field, from 0 as they stand; None for one at the top.

    Raises
    ------
    SetFileError
        If the set cannot be so, or is written in a way in which no single line can be changed.

    Examples
    --------
    >>> from pathlib import Path
    >>> text = 'schema_version = 1\ntitle = "x"\n[[songs]]\npath = "a"\ntalk = "9s" # hello\n'
    >>> print(with_field(text, Path("x.toml"), 0, "talk", "20s"), end="")
    schema_version = 1
    title = "x"
    [[songs]]
    path = "a"
    talk = "20s" # hello
    >>> print(with_field(text, Path("x.toml"), None, "slot", "45m").splitlines()[2])
    slot = "45m"
    """
    wanted = toml_table(text)
    table = wanted if song is None else wanted["songs"][song]
    table.pop(name, None)
    if value is not None:
        table[name] = value
    place: Place = (name,) if song is None else ("songs", song, name)
    changed = _changed(text, place, value)
    try:
        is_so = toml_table(changed) == wanted
    except tomllib.TOMLDecodeError:
        is_so = False
    if not is_so:
        words = f"'{name}' cannot be changed from here in the way this is written: edit the file."
        raise SetFileError(path, (0, words))
    parse_set(changed, path)
    return changed


def _changed(text: str, place: Place, value: Value) -> str:
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    places = toml_lines(text)
    told = "" if value is None else toml_value(value)
    name, at = str(place[-1]), places.get(place)
    if at is None:
        if value is not None:
            above: Place = (*place[:-1], "title" if len(place) == 1 else "path")
            lines.insert(places.get(above, 0), f"{name} = {told}\n")
    elif value is None:
        del lines[at - 1]
    else:
        lines[at - 1] = re.sub(
            rf"^(\s*{name}\s*=\s*){_VALUE}", lambda match: match[1] + told, lines[at - 1]
        )
    return "".join(lines)
