"""Files that appear whole or not at all, and no parts of them left by the dead.

Two folders change places in one step, where the system has such a step.

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
import os
import sys
import tempfile
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

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
