"""One writer at a time for a folder that is to appear whole, and no leftovers of dead ones.

Next to the folder lies a lock file while somebody writes. The lock belongs to the
process and not to the file: it is free as soon as the process is gone, however it
went. So whoever holds the lock knows that all other temporary neighbours of the
folder were left by the dead, and may sweep them.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import time
from contextlib import contextmanager
from hashlib import blake2b
from typing import TYPE_CHECKING, Final

from segue.errors import BusyFolderError, RunFolderError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

OLD: Final = "old"
"""Kind of the neighbour that an earlier folder is moved to where two cannot change places."""
NEW: Final = "new"
"""Kind of the neighbour that is being filled."""
_SWEEPS_S: Final = 0.5
"""Who sweeps after the dead holds their locks for less; who writes, for longer. By judgement."""
_LOOKS_EVERY_S: Final = 0.02  # while a lock is waited for
_TEMPORARY: Final = re.compile(r"(\.segue-[0-9a-f]{12})(?:-|\.lock$)")


def neighbour_prefix(out: Path) -> str:
    """How the names of a folder's temporary neighbours start: short, however long its own is."""
    return f".segue-{blake2b(os.fsencode(out.name), digest_size=6).hexdigest()}"


def aside_path(out: Path) -> Path:
    """Where the earlier folder waits while the new one takes its place by two renames."""
    return out.parent / f"{neighbour_prefix(out)}-{OLD}"


@contextmanager
def sole_writer(out: Path) -> Iterator[None]:
    """Be the only one who writes a folder; what dead writers left is put right or swept.

    Parameters
    ----------
    out : Path
        The folder; its parent must exist.

    Raises
    ------
    BusyFolderError
        If another process is writing it.
    OSError
        If the lock file cannot be written.
    """
    with _held(out.parent / f"{neighbour_prefix(out)}.lock", patience_s=_SWEEPS_S) as is_held:
        if not is_held:
            raise BusyFolderError(
                out,
                "is being written by another Segue: wait until it is done, or name another folder.",
            )
        try:
            _put_back(out)
            _sweep(out)
            sweep_inside(out.parent)
            yield
        finally:
            _sweep(out)


def sweep_inside(folder: Path) -> None:
    """Sweep what dead writers of any folder or file in a folder left in it.

    Parameters
    ----------
    folder : Path
        What somebody still writes there is left alone.
    """
    try:
        names = {entry.name for entry in folder.iterdir()}
    except OSError:
        return
    writers = {match[1] for name in names if (match := _TEMPORARY.match(name))}
    wanted = {neighbour_prefix(folder / name) for name in names}
    for prefix in sorted(writers):
        if prefix not in wanted and f"{prefix}-{OLD}" in names:
            continue  # the last copy of a folder: who writes it next puts it back
        with contextlib.suppress(OSError), _held(folder / f"{prefix}.lock") as is_held:
            if is_held:
                _sweep_neighbours(folder, prefix)


def put_back_if_left(out: Path) -> None:
    """Put an earlier folder back in its place, if a dead writer left it aside."""
    if aside_path(out).is_dir() and not out.exists():
        with contextlib.suppress(RunFolderError, OSError), sole_writer(out):
            pass


def _put_back(out: Path) -> None:
    aside = aside_path(out)
    if aside.is_dir() and not out.exists():
        aside.rename(out)


def _sweep(out: Path) -> None:
    last_copy = None if out.exists() else aside_path(out)
    _sweep_neighbours(out.parent, neighbour_prefix(out), but=last_copy)


def _sweep_neighbours(parent: Path, prefix: str, *, but: Path | None = None) -> None:
    with contextlib.suppress(OSError):
        for entry in list(parent.iterdir()):
            if entry.name.startswith(f"{prefix}-") and entry != but:
                shutil.rmtree(entry, ignore_errors=True)


@contextmanager
def _held(path: Path, *, patience_s: float = 0.0) -> Iterator[bool]:
    """Whether a lock file is ours for a while; then it is removed."""
    ends_s = time.monotonic() + patience_s
    while (handle := _locked(path)) is None and time.monotonic() < ends_s:
        time.sleep(_LOOKS_EVERY_S)
    if handle is None:
        yield False
        return
    try:
        yield True
    finally:
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)  # before it is let go: nobody locks a file that is gone
        os.close(handle)


def _locked(path: Path) -> int | None:
    """An open lock file that is ours; None if it is another's.

    The last holder removes the file: a lock on a file that has lost its name says
    nothing, and is tried anew.
    """
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        if not _lock(handle):
            os.close(handle)
            return None
        try:
            if os.path.samestat(os.fstat(handle), path.stat()):
                return handle
        except FileNotFoundError:
            pass
        os.close(handle)


def _lock(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True
