"""Set files: a band's evening in TOML, read strictly, every fault told with its line.

::

    schema_version = 1
    title = "Harbour Festival"
    slot = "45m"

    [[songs]]
    path = "low tide"             # a file or a folder of stems, from this file's folder
    title = "Low Tide"            # else the file's or folder's name
    key = "F# minor"              # what is fixed: key, tempo_bpm, metre, first_downbeat_s
    length = "3:45"               # else as long as the file
    energy = 2                    # 1 to 5
    voice = "Mara"                # who sings
    opens = true                  # or closes = true, or at = 3
    talk = "25s"                  # after this song, before the next
    recipe = "tempo ramp"         # the way to the next song; else the three that score best

    [[songs]]
    path = "harbour.wav"
    after = "Low Tide"            # always directly after it
    not_beside = ["Ash and Oak"]  # never next to it
    changeover = "40s"            # retuning, other instruments: a stop, unless segue = true
    segue = false                 # a plain stop

What is said of the way to the next song (talk, changeover, segue, recipe) stays with the song
that it follows when the order changes. Talk and changeover are added up.

What songs of one set may not say of each other, whatever the order.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

from segue.analysis.overrides import Overrides
from segue.audio.stems_folder import title_of
from segue.errors import LinesError, did_you_mean
from segue.files.plain_file import plain_bytes
from segue.files.toml_lines import line_of, toml_lines
from segue.recipes.position import shown
from segue.setlist.set_fields import MOST_SONGS, SET_FIELDS, SONG_FIELDS, FieldFault
from segue.setlist.set_list import SetList, SetSong

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path


Fault = tuple[tuple[str | int, ...], str]
"""Place in the file, and a sentence."""


def set_faults(songs: Sequence[SetSong | None]) -> Iterator[Fault]:
    """Everything that is wrong between songs.

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


LARGEST_BYTES: Final = 1 << 18
"""A set list is a page or two; anything larger was named by mistake."""
_GIVEN: Final = ("key", "tempo_bpm", "metre", "first_downbeat_s")
_AS_THEY_ARE: Final = ("energy", "voice", "at", "after", "recipe")


class SetFileError(LinesError):
    """A set file that says something impossible."""


def read_set(path: Path) -> SetList:
    """Read a set file.

    Parameters
    ----------
    path : Path
        A TOML file; the songs' paths count from its folder.

    Raises
    ------
    SetFileError
        If it cannot be read or says something impossible: all faults at once, each with its line.
    """
    return parse_set(set_text(path), path)


def parse_set(text: str, path: Path) -> SetList:
    """A set from the text of its file; see `read_set`."""
    table = _table(text, path)
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
    """The text of a set file, with its line ends made one kind."""
    try:
        raw = plain_bytes(path, most_bytes=LARGEST_BYTES)
    except OSError as error:
        words = f"cannot be read ({error.strerror}); name a set file, which ends in .toml."
        raise SetFileError(path, (0, words)) from error
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise SetFileError(path, (line, "is not UTF-8 text; save it again as UTF-8.")) from error


def _table(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, _, where = str(error).rpartition(" (at ")
        number = where.removeprefix("line ").split(",")[0]
        line = int(number) if number.isdigit() else text.count("\n") + 1
        sentence = f"is not valid TOML ({what[:1].lower()}{what[1:]}); mend this line."
        raise SetFileError(path, (line, sentence)) from error
    except (RecursionError, ValueError) as error:
        raise SetFileError(
            path, (0, "is nested too deep, or has an endless number; mend it.")
        ) from error


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
        title=found.get("title") or title_of(path.stem if path.suffix else path.name),
        overrides=Overrides(**{name: found.get(name) for name in _GIVEN}),
        length_s=found.get("length"),
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
    for name, value in table.items():
        if name not in fields:
            known = ", ".join(fields)
            hint = did_you_mean(name, fields) or f" There are {known}."
            faults.append(((*place, name), f"{shown(name)} is no field{_of(place)}.{hint}"))
            continue
        try:
            found[name] = fields[name](value)
        except FieldFault as fault:
            faults.append(((*place, name), f"'{name}'{_of(place)} {fault}."))
    return found


def _of(place: tuple[str | int, ...]) -> str:
    return f" of song {int(place[1]) + 1}" if place else ""
