"""Files that appear whole or not at all, small files that may be named by mistake, and their times.

Small files are read whole, but never a pipe and never without end. No parts of a file are left by
the dead, and two folders change places in one step, where the system has such a step.

References
----------
.. [Linux] rename(2), Linux manual pages: `renameat2` with `RENAME_EXCHANGE`, since
   Linux 3.15.
.. [Darwin] rename(2), Darwin manual pages: `renamex_np` with `RENAME_SWAP`, since
   macOS 10.12. From memory.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import json
import os
import stat
import sys
import tempfile
import time
from datetime import UTC, datetime
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

    Without the remedy.
    """
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"does not hold together at '{place}' ({first['msg']})"


RENAME_EXCHANGE: Final = 2
"""Flag of `renameat2` [Linux]_."""
RENAME_SWAP: Final = 2
"""Flag of `renamex_np` [Darwin]_."""
_HERE: Final = -100
"""AT_FDCWD: paths start where the process is [Linux]_."""
_UNKNOWN: Final = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}
"""What a system or a file system says that has no such step."""


def exchanged(one: Path, other: Path) -> bool:
    """Let two paths of one file system change places.

    Parameters
    ----------
    one, other : Path
        Both exist.

    Returns
    -------
    bool
        False where the system knows no such step; then nothing has changed.

    Raises
    ------
    OSError
        If it knows it, and may not do it.
    """
    try:
        library = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            failed = library.renamex_np(os.fsencode(one), os.fsencode(other), RENAME_SWAP)
        else:
            failed = library.renameat2(
                _HERE, os.fsencode(one), _HERE, os.fsencode(other), RENAME_EXCHANGE
            )
    except (OSError, TypeError, AttributeError):  # no such library, or no such function in it
        return False
    if not failed:
        return True
    number = ctypes.get_errno()
    if number in _UNKNOWN:
        return False
    raise OSError(number, os.strerror(number), str(one))


_MODE: Final = 0o644  # of a new file: all read, the owner writes


def write_whole(path: Path, content: bytes | memoryview, *, part: Path | None = None) -> None:
    """Write a file through a neighbour on the disk: a power cut leaves the old one or the new.

    Parameters
    ----------
    path : Path
        An earlier file there keeps its rights.
    part : Path, optional
        What the temporary file is called, but for some letters at its end, instead of what
        `sweep_parts` looks for; of the same file system.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left.
    """
    mode = _MODE
    with contextlib.suppress(OSError):
        mode = path.stat().st_mode & 0o777
    part = part or path.with_name(f".{path.name}-")
    handle, name = tempfile.mkstemp(prefix=part.name, dir=part.parent)
    staged = part.with_name(os.path.basename(name))  # noqa: PTH119 - the name alone
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        staged.chmod(mode)
        staged.replace(path)
    finally:
        staged.unlink(missing_ok=True)


def sweep_parts(path: Path) -> None:
    """Remove what writers of a file left that were killed; only its sole writer may."""
    with contextlib.suppress(OSError):
        for entry in list(path.parent.iterdir()):
            if entry.name.startswith(f".{path.name}-"):
                entry.unlink(missing_ok=True)


A_DAY_S: Final = 86_400.0
"""Seconds. A file that claims to be from so far ahead was written while the clock was wrong."""
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def age_s(modified_s: float) -> float:
    """How long ago a file was written, in seconds; without end where it claims a time to come."""
    age = time.time() - modified_s
    return age if age > -A_DAY_S else float("inf")


def written_at(path: Path) -> datetime:
    """When a file was written, on the local clock; 1970 where its time is none of the calendar's.

    Raises
    ------
    OSError
        If there is no such file.
    """
    modified_s = path.stat().st_mtime
    try:
        return datetime.fromtimestamp(modified_s, tz=UTC).astimezone()
    except (OverflowError, ValueError, OSError):
        return _EPOCH.astimezone()
