"""Facts that were heard before, kept as files in the user's cache folder.

One JSON file an entry, with the key it was written for and a checksum, so that a
file that was cut short, changed, or comes from elsewhere is no entry. Files appear
whole or not at all, so any number of runs may share the folder. The bound holds in
each of 256 parts of the folder, which keys fill evenly: a write then looks through
one part and not through everything.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.errors import disk_faults
from segue.files.whole_file import age_s, write_whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic import TypeAdapter

    from segue.analysis.facts import EdgeFacts

FOLDER_VARIABLE: Final = "SEGUE_CACHE"
"""Environment variable that names another folder for the cache."""
DEFAULT_LIMIT_BYTES: Final = 2_000_000_000  # of the whole cache; the longest unused facts go first
SCHEMA_VERSION: Final = 1  # of a file of facts
N_PARTS: Final = 256
"""Two hexadecimal digits."""
_N_PART_DIGITS: Final = 2  # of a key name its folder, so that none grows long
_TAIL: Final = b"}\n"
_STAGING_NAME: Final = "staging"
_STAGED: Final = ".new-"
"""Start of the name of an entry that is being written; the number of its process follows."""
_PARTS_NAME: Final = "heard"
"""Subfolder that is ours to clear, whatever else is in the folder that was named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CacheSize:
    """How full a cache is."""

    n_entries: int
    n_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FactsCache:
    """Facts of edges by the digest of all that they depend on.

    Parameters
    ----------
    folder : Path
        It need not exist; where it cannot be written, nothing is kept.
    limit_bytes : int
        The least recently used entries go first.
    """

    folder: Path
    limit_bytes: int = DEFAULT_LIMIT_BYTES

    def facts_of(self, key: str) -> EdgeFacts | None:
        """What is kept for a key; None if there is nothing, or nothing sound."""
        path = self._path(key)
        try:
            facts = _read_entry(path.read_bytes(), key)
            if facts is not None:
                os.utime(path)
        except OSError:
            return None
        return facts

    def keep(self, key: str, facts: EdgeFacts) -> None:
        """Keep facts under a key, in place of what was there; never a reason to fail.

        Parameters
        ----------
        facts : EdgeFacts
            Left out where they would not come back the same.
        """
        entry = _entry(key, facts)
        if _read_entry(entry, key) != facts:
            return
        path = self._path(key)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            staging = self.folder / _STAGING_NAME
            staging.mkdir(exist_ok=True)
            write_whole(path, entry, part=staging / f"{_STAGED}{os.getpid()}-")
            self._drop_oldest(path.parent, but=path)
        except OSError:
            return

    def size(self) -> CacheSize:
        """How many entries there are, and their bytes."""
        sizes = [size for _, size, _ in _files_under(self.folder / _PARTS_NAME)]
        return CacheSize(n_entries=len(sizes), n_bytes=sum(sizes))

    def clear(self) -> None:
        """Remove all entries.

        Raises
        ------
        InputError
            If some of them may not be removed.
        """
        parts = self.folder / _PARTS_NAME
        with disk_faults(parts, "could not be cleared ({}); remove it by hand."):
            for _, _, path in list(_files_under(parts)):
                path.unlink(missing_ok=True)  # the folders stay: another run may be writing

    def _path(self, key: str) -> Path:
        part, name = key[:_N_PART_DIGITS], key[_N_PART_DIGITS:]
        return self.folder / _PARTS_NAME / part / f"{name}.json"

    def sweep(self) -> None:
        """Remove what processes left that were killed while they wrote.

        Another machine's process may seem gone: then its entry is not kept, and no harm done.
        """
        with contextlib.suppress(OSError):
            for entry in list((self.folder / _STAGING_NAME).iterdir()):
                writer = entry.name.removeprefix(_STAGED).partition("-")[0]
                if writer.isdecimal() and _is_gone(int(writer)):
                    entry.unlink(missing_ok=True)

    def _drop_oldest(self, part: Path, *, but: Path) -> None:
        found = sorted(_files_under(part))
        n_bytes = sum(size for _, size, _ in found)
        for _, size, path in found:
            if n_bytes <= self.limit_bytes // N_PARTS:
                return
            if path == but:
                continue
            path.unlink(missing_ok=True)
            n_bytes -= size


def user_facts_cache() -> FactsCache:
    """The cache of this user, or of the folder that ``SEGUE_CACHE`` names."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        cache = FactsCache(folder=Path(named))
    else:
        import platformdirs

        cache = FactsCache(folder=platformdirs.user_cache_path("segue"))
    cache.sweep()
    return cache


def _is_gone(process: int) -> bool:
    if sys.platform == "win32":  # there, asking would end it
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


def _entry(key: str, facts: EdgeFacts) -> bytes:
    text = _adapter().dump_json(facts)
    return _head(key, text) + text + _TAIL


def _read_entry(entry: bytes, key: str) -> EdgeFacts | None:
    from pydantic import ValidationError

    _, _, rest = entry.partition(b"\n")
    text = rest.removesuffix(_TAIL)
    if entry != _head(key, text) + text + _TAIL:
        return None
    try:
        return _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError:
        return None


def _head(key: str, text: bytes) -> bytes:
    """The first line of an entry; with the facts after it and the tail it is one JSON value."""
    checksum = blake2b(text, digest_size=16).hexdigest()
    said = f'"schema_version": {SCHEMA_VERSION}, "key": "{key}", "checksum": "{checksum}"'
    return f'{{{said}, "facts":\n'.encode()


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[EdgeFacts]:
    from pydantic import TypeAdapter

    from segue.analysis.facts import EdgeFacts

    return TypeAdapter(EdgeFacts)


def _files_under(folder: Path) -> Iterator[tuple[float, int, Path]]:
    """Time since last use (negated), size and path of each file; another run may remove some."""
    for path in folder.rglob("*"):
        try:
            status = path.stat()
        except FileNotFoundError:
            continue
        if stat.S_ISREG(status.st_mode):
            yield -age_s(status.st_mtime), status.st_size, path
