"""Small files that may be named by mistake: read whole, but never a pipe and never without end."""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

_FOR_READING: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""A pipe nobody writes to must not keep us waiting while it is opened."""


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
