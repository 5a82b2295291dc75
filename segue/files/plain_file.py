"""Small files that may be named by mistake: read whole, but never a pipe and never without end.

And what JSON holds in them, as far as any of our documents goes.
"""

from __future__ import annotations

import errno
import json
import os
import stat
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic import ValidationError

_FOR_READING: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""A pipe nobody writes to must not keep us waiting while it is opened."""
_LARGEST_NUMBER: Final = 1 << 63
"""Seeds may be as large; everything else is far smaller."""


def plain_bytes(path: Path, *, most_bytes: int) -> bytes:
    """Content of a regular file of bounded size.

    Raises
    ------
    OSError
        If it cannot be read; also if it is a folder, a pipe or a device, or larger.
    """
    handle = os.open(path, _FOR_READING)
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "not a plain file", str(path))
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(errno.EFBIG, f"larger than {most_bytes >> 10} KB", str(path))
    return content


def plain_json(text: str) -> Any:  # noqa: ANN401 - any JSON value
    """A JSON text whose numbers are all of this world: of others, no later step makes sense.

    Raises
    ------
    ValueError
        If it is not JSON as RFC 8259 has it, or holds a number larger than any of ours.
    RecursionError
        If it is nested too deep.
    """
    return json.loads(text, parse_float=_bounded, parse_int=_bounded_whole, parse_constant=_bounded)


def _bounded(text: str) -> float:
    if not abs(number := float(text)) <= _LARGEST_NUMBER:  # false for what is no number, too
        raise ValueError(f"{text} is larger than any number of ours")
    return number


def _bounded_whole(text: str) -> int:
    if abs(number := int(text)) > _LARGEST_NUMBER:
        raise ValueError(f"{text} is larger than any number of ours")
    return number


def first_fault(error: ValidationError) -> str:
    """Where a document does not hold together first, and why.

    Returns
    -------
    str
        Without the remedy.
    """
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"does not hold together at '{place}' ({first['msg']})"
