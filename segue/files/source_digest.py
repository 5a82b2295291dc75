"""Digest of parts of our own source and of the libraries that they calculate with.

What was calculated before is kept under such a digest: no release and no edit while
developing is then answered with results of other code, and nobody has to remember
to raise a number.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Final

PACKAGE: Final = Path(__file__).resolve().parents[1]
_CODE_SUFFIXES: Final = frozenset({".py", ".json", ".npz"})
_DIGEST_BYTES: Final = 20  # 160 bits: no two sources share one


@lru_cache(maxsize=8)
def source_digest(
    parts: tuple[str, ...], libraries: tuple[str, ...], *, package: Path = PACKAGE
) -> str:
    """Digest of all code and models of some sub-packages, and of versions of libraries.

    In hexadecimal digits; independent of where the package is.

    Parameters
    ----------
    libraries : tuple of str
        Names of distributions; one that is not there counts as a version of its own.
    """
    digest = blake2b(digest_size=_DIGEST_BYTES)
    for part in parts:
        for path in sorted((package / part).rglob("*")):
            if path.suffix in _CODE_SUFFIXES:
                content = path.read_bytes()
                name = path.relative_to(package).as_posix()
                digest.update(f"{name} {len(content)}\n".encode())
                digest.update(content)
    for library in libraries:
        digest.update(f"{library} {_version(library)}\n".encode())
    return digest.hexdigest()


def _version(library: str) -> str:
    # brings the reading of mail with it, and few ask for a digest
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(library)
    except PackageNotFoundError:  # frozen into one program without its metadata
        return ""
