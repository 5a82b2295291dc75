"""What a musician says of one end of a song, written into its ``song.toml``.

Only the table of that end is written anew; everything else in the file stays as it stands.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from typing import TYPE_CHECKING, Final

from segue.audio.song_toml import LARGEST_BYTES, EndToml, load_song_toml, song_toml_beside
from segue.audio.stems_folder import audio_names
from segue.errors import InputError, disk_faults
from segue.files.toml_lines import toml_table, toml_value
from segue.files.whole_file import plain_bytes, write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audio.clip import Edge

_HEADING: Final = re.compile(r"^\s*\[+\s*([^\]]*?)\s*\]+\s*(?:#.*)?$")


def write_end(song: Path, edge: Edge, said: EndToml) -> Path:
    """Write what is said of one end in place of what was said of it before.

    Gives the file, which is as it was before where this raises.

    Parameters
    ----------
    song : Path
        An audio file or a folder of stems.
    said : EndToml
        All that is said of that end; nothing at all takes its table out.

    Raises
    ------
    InputError
        If the file that is there cannot be read, or what is said is impossible.
    """
    path = song_toml_beside(song)
    text = _text(path)
    lines = [*_without_table(text, edge), *_table(edge, said)]
    new = "".join(lines)
    _check(path, new, edge)
    names = audio_names(song)
    before = path.read_bytes() if path.exists() else None
    with disk_faults(path, "could not be written ({}): mend the rights of its folder."):
        write_whole(path, new.encode())
    try:
        load_song_toml(path, audio_names=names)
    except InputError:
        _put_back(path, before)
        raise
    return path


def said_of(song: Path, edge: Edge) -> EndToml:
    """What is said of one end alone.

    Raises
    ------
    InputError
        If there is a file, and it is faulty.
    """
    from segue.audio.song_toml import SongToml

    path = song_toml_beside(song)
    toml = load_song_toml(path, audio_names=audio_names(song)) if path.exists() else SongToml()
    return toml.end if edge == "end" else toml.start


def _text(path: Path) -> str:
    if not path.exists():
        return ""
    try:
        return plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(path, "cannot be read as text: mend or remove it.") from error


def _without_table(text: str, edge: Edge) -> list[str]:
    """The lines of a file that are not in the table of that end."""
    kept, is_inside = [], False
    for line in text.splitlines(keepends=True):
        heading = _HEADING.match(line)
        if heading is not None:
            is_inside = heading[1] == edge
        if not is_inside:
            kept.append(line)
    while kept and not kept[-1].strip():
        kept.pop()
    if kept and not kept[-1].endswith("\n"):
        kept[-1] += "\n"
    return kept


def _table(edge: Edge, said: EndToml) -> list[str]:
    values = {field.name: getattr(said, field.name) for field in fields(said)}
    told = {name: value for name, value in values.items() if value is not None}
    if not told:
        return []
    rows = [f"{name} = {toml_value(value)}\n" for name, value in told.items()]
    return ["\n", f"[{edge}]\n", *rows]


def _check(path: Path, text: str, edge: Edge) -> None:
    try:
        toml_table(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            path, f"says something of its {edge} outside of [{edge}]: put it under that heading."
        ) from error


def _put_back(path: Path, before: bytes | None) -> None:
    if before is None:
        path.unlink(missing_ok=True)
    else:
        write_whole(path, before)
