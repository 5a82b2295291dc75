"""A set file with its songs in another order: the user's own words, moved and not rewritten."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.files.toml_lines import toml_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

NEW_SET_NAME: Final = "reordered.toml"
_PATH: Final = re.compile(r"""^(\s*path\s*=\s*)("(?:[^"\\]|\\.)*"|'[^']*')""", re.MULTILINE)


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
    quoted = json.dumps(path, ensure_ascii=False)
    return _PATH.sub(lambda match: match[1] + quoted, block, count=1)
