"""Files that appear whole or not at all, and no parts of them left by the dead."""

from __future__ import annotations

import contextlib
import os
import tempfile
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

_MODE: Final = 0o644


def write_whole(path: Path, content: bytes) -> None:
    """Write a file through a neighbour on the disk: a power cut leaves the old one or the new.

    Parameters
    ----------
    path : Path
        An earlier file there keeps its rights.
    content : bytes

    Raises
    ------
    OSError
        If it cannot be written; nothing is left.
    """
    mode = _MODE
    with contextlib.suppress(OSError):
        mode = path.stat().st_mode & 0o777
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    part = path.with_name(os.path.basename(name))  # noqa: PTH119 - the name alone
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(mode)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def sweep_parts(path: Path) -> None:
    """Remove what writers of a file left that were killed; only its sole writer may.

    Parameters
    ----------
    path : Path
    """
    with contextlib.suppress(OSError):
        for entry in list(path.parent.iterdir()):
            if entry.name.startswith(f".{path.name}-"):
                entry.unlink(missing_ok=True)
