"""TOML text of a file, and on which line each of its values stands.

The standard library's reader tells no lines. This scanner reads text that
`tomllib` has accepted, follows TOML 1.0 just as far as it takes to know where
each key, table and array item begins, and keeps no values.
"""

from __future__ import annotations

import json
import re
import tomllib
from bisect import bisect_right
from typing import TYPE_CHECKING, Any, Final

from segue.files.whole_file import plain_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path as FilePath

    from segue.errors import LinesError

Path = tuple[str | int, ...]
"""Way to a value: keys, and numbers of array items from 0."""

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{1,2}(?!"))?', re.S)
_LONG_LITERAL = re.compile(r"'''.*?'''(?:'{1,2}(?!'))?", re.S)
_OTHER = re.compile(r"\d{4}-\d\d-\d\d \d\d:[^,\]}\s#]+|[^,\]}\s#]+")
_VALUES: Final = (_LONG_BASIC, _LONG_LITERAL, _BASIC, _LITERAL, _OTHER)
_TEXTS = re.compile(
    "|".join(p.pattern for p in (_LONG_BASIC, _LONG_LITERAL, _BASIC, _LITERAL)) + r"|#[^\n]*", re.S
)
MOST_DOTS: Final = 32
"""In a key of ours there are at most three; `tomllib` takes memory by the square of them."""
# From where a key begins only: a search from each of its letters takes time by their square
_DOTTED = re.compile(rf"(?<![A-Za-z0-9_-])(?:[A-Za-z0-9_-]+[ \t]*\.[ \t]*){{{MOST_DOTS + 1}}}")


def toml_value(value: str | float | bool) -> str:  # noqa: FBT001 - what is written
    r"""Text, a number, or yes or no as a TOML file has it.

    JSON writes all three alike, but for the sign that deletes, which TOML has escaped.

    Examples
    --------
    >>> print(toml_value('Say "Æ"'), toml_value("\x7f"), toml_value(1.5), toml_value(True))
    "Say \"Æ\"" "\u007f" 1.5 true
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_text(path: FilePath, *, most_bytes: int, fault: type[LinesError], named: str) -> str:
    """The text of a TOML file, with its line ends made one kind.

    Parameters
    ----------
    fault : type of LinesError
        What is raised if it cannot be read.
    """
    try:
        raw = plain_bytes(path, most_bytes=most_bytes)
    except OSError as error:
        words = f"cannot be read ({error.strerror}); name {named}, which ends in .toml."
        raise fault(path, (0, words)) from error
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise fault(path, (line, "is not UTF-8 text; save it again as UTF-8.")) from error


def toml_table(text: str) -> dict[str, Any]:
    """What a TOML text says, unless a key in it leads into tables without end.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is not TOML.
    RecursionError
        If it is nested too deep, by its brackets or by the dots of a key.
    ValueError
        If a whole number in it has thousands of digits.
    """
    if _DOTTED.search(_TEXTS.sub("x", text)):
        raise RecursionError(f"a key of more than {MOST_DOTS} dots")
    return tomllib.loads(text)


def checked_table(text: str, path: FilePath, *, fault: type[LinesError]) -> dict[str, Any]:
    """What a TOML text says; `fault` is raised, with the line, if it says nothing."""
    try:
        return toml_table(text)
    except tomllib.TOMLDecodeError as error:
        raise fault(path, _syntax_fault(error, text)) from error
    except RecursionError as error:
        words = "is nested deeper than any file of ours; take brackets out."
        raise fault(path, (0, words)) from error
    except ValueError as error:  # whole numbers of thousands of digits
        words = "has a number in it that is too long to be read; shorten it."
        raise fault(path, (0, words)) from error


def _syntax_fault(error: tomllib.TOMLDecodeError, text: str) -> tuple[int, str]:
    """Line and wording of what tomllib says, which ends in '(at line 3, column 5)'."""
    what, _, where = str(error).rpartition(" (at ")
    number = where.removeprefix("line ").split(",")[0]
    line = int(number) if number.isdigit() else text.count("\n") + 1
    return line, f"is not valid TOML ({what[:1].lower()}{what[1:]}); mend this line."


def toml_lines(text: str) -> dict[Path, int]:
    r"""Line of every table, key and array item, counted from 1.

    Parameters
    ----------
    text : str
        TOML that `tomllib` accepts.

    Examples
    --------
    >>> lines = toml_lines("name = 'x'\n[[layers]]\npan = [\n  1,\n  2]")
    >>> lines["layers", 0, "pan", 1]
    5
    """
    return dict(_Scanner(text).places())


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """Line of a value, or of the nearest table around it where it is missing; else 1."""
    for n in range(len(path), 0, -1):
        if path[:n] in lines:
            return lines[path[:n]]
    return 1


class _Scanner:
    """A place in the text, moving forwards only."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.breaks = [n for n, sign in enumerate(text) if sign == "\n"]
        self.n_items: dict[Path, int] = {}

    def places(self) -> Iterator[tuple[Path, int]]:
        table: Path = ()
        while self._skip_blank() < len(self.text):
            line = self._line()
            if self.text[self.at] == "[":
                table = self._header()
                yield table, line
            else:
                yield from self._pair(table)

    def _header(self) -> Path:
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        *way, last = self._key()
        table: Path = ()
        for name in way:
            table = self._newest((*table, name))
        table = (*table, last)
        if is_array:
            self.n_items[table] = self.n_items.get(table, 0) + 1
            table = self._newest(table)
        self._skip_blank()
        self.at += 2 if is_array else 1
        return table

    def _newest(self, table: Path) -> Path:
        """The item that is being written, where a table is one of an array."""
        n_items = self.n_items.get(table)
        return table if n_items is None else (*table, n_items - 1)

    def _pair(self, table: Path) -> Iterator[tuple[Path, int]]:
        line = self._line()
        path = table
        for name in self._key():
            path = (*path, name)
            yield path, line
        self._skip_blank()
        self.at += 1  # the equals sign
        self._skip_blank()
        yield from self._value(path)

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip_blank()
            names.append(self._name())
            self._skip_blank()
            if not self.text.startswith(".", self.at):
                return names
            self.at += 1

    def _name(self) -> str:
        for pattern in (_BASIC, _LITERAL):
            if match := pattern.match(self.text, self.at):
                self.at = match.end()
                return str(tomllib.loads(f"key = {match[0]}")["key"])  # with its escapes resolved
        match = _BARE_KEY.match(self.text, self.at)
        self.at = match.end() if match else self.at + 1
        return match[0] if match else ""

    def _value(self, path: Path) -> Iterator[tuple[Path, int]]:
        match self.text[self.at : self.at + 1]:
            case "[":
                yield from self._array(path)
            case "{":
                yield from self._inline_table(path)
            case _:
                found = next(filter(None, (p.match(self.text, self.at) for p in _VALUES)), None)
                self.at = found.end() if found else self.at + 1

    def _array(self, path: Path) -> Iterator[tuple[Path, int]]:
        n_items = 0
        while self._next_item("]"):
            yield (*path, n_items), self._line()
            yield from self._value((*path, n_items))
            n_items += 1

    def _inline_table(self, path: Path) -> Iterator[tuple[Path, int]]:
        while self._next_item("}"):
            yield from self._pair(path)

    def _next_item(self, closing: str) -> bool:
        """Step over the opening sign or the comma; whether another item follows."""
        if self._skip_blank() < len(self.text) and self.text[self.at] in "[{,":
            self.at += 1
            self._skip_blank()
        if self.at < len(self.text) and self.text[self.at] != closing:
            return True
        self.at += 1
        return False

    def _skip_blank(self) -> int:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return self.at

    def _line(self) -> int:
        return bisect_right(self.breaks, self.at - 1) + 1
