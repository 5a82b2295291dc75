"""One thing of a set file put otherwise: its own words stay, but for the line that says it."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Final

from segue.files.toml_lines import toml_lines, toml_table, toml_value
from segue.setlist.set_file import SetFileError, parse_set

if TYPE_CHECKING:
    from pathlib import Path as FilePath

    from segue.files.toml_lines import Path as Place

Value = str | bool | None
"""Of a field; None leaves it out."""
_VALUE: Final = r"""("(?:[^"\\]|\\.)*"|'[^']*'|[^\s#"'\[{]+)"""


def with_field(text: str, path: FilePath, song: int | None, name: str, value: Value) -> str:
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
