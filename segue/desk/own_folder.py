"""The one folder that the desk reads and writes, and names in it that lead nowhere else."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from segue.audition.limits import RequestRefusalError
from segue.audition.sound import plain_file_name
from segue.errors import InputError, disk_faults

NOT_FOUND: Final = 404  # status code of HTTP (RFC 9110)
LONGEST_NAME: Final = 1000
"""Letters of a path below the folder; far beyond use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnFolder:
    """A folder of songs, and what is made of them.

    Parameters
    ----------
    root : Path
        Without links in it.
    """

    root: Path

    def inside(self, name: str) -> Path:
        """What a name stands for, which need not exist.

        Parameters
        ----------
        name : str
            Path below the folder with forward slashes, as `name_of` gives it.

        Raises
        ------
        RequestRefusalError
            If the name leads out of the folder, by itself or by a link.
        """
        parts = PurePosixPath(name).parts
        if not parts or len(name) > LONGEST_NAME or not all(map(_may_be_asked_for, parts)):
            raise RequestRefusalError("There is nothing of that name.", status=NOT_FOUND)
        path = self.root.joinpath(*parts)
        if not self.holds(path):
            raise RequestRefusalError("That leads out of the folder.", status=NOT_FOUND)
        return path

    def holds(self, path: Path) -> bool:
        """Whether a path lies in the folder, also where its links lead."""
        try:
            return Path(os.path.realpath(path)).is_relative_to(self.root)
        except (OSError, ValueError):
            return False

    def name_of(self, path: Path) -> str:
        """Path below the folder, with forward slashes."""
        return path.relative_to(self.root).as_posix()

    def can_be_asked_for(self, path: Path) -> bool:
        """Whether what lies in the folder has a name that `inside` takes."""
        name = path.relative_to(self.root)
        return len(str(name)) <= LONGEST_NAME and all(map(_may_be_asked_for, name.parts))

    def free(self, folder: str, name: str) -> Path:
        """A place in a subfolder that nothing has taken: the name, or the name with a number.

        Parameters
        ----------
        name : str
            May have an ending, before which the number is put.
        """
        wanted = self.inside(f"{folder}/{name}" if folder else name)
        place, number = wanted, 1
        while place.exists() or place.is_symlink():
            number += 1
            place = wanted.with_name(f"{wanted.stem} {number}{wanted.suffix}")
        return place


def _may_be_asked_for(part: str) -> bool:
    """Whether a name is one line of text that leads nowhere; what Windows forbids may be here."""
    if os.name == "nt":
        return plain_file_name(part)
    is_text = part.isprintable() and not part.startswith(".")
    return is_text and not {"/", "\\"} & set(part)


def own_folder(path: Path) -> OwnFolder:
    """The folder of a path.

    Raises
    ------
    InputError
        If it is no folder that may be listed.
    """
    with disk_faults(path, "may not be listed ({}): name a folder of your own."):
        root = Path(os.path.realpath(path))
        if not root.is_dir():
            raise InputError(path, "is not a folder: name the folder that your songs are in.")
        with os.scandir(root):
            pass
    return OwnFolder(root=root)


def safe_name(text: str, *, fallback: str) -> str:
    """A name for a file or folder, of letters, digits and a few signs of a text."""
    kept = "".join(c if c.isalnum() or c in " _-'.()&+" else "-" for c in text)
    name = kept.strip(" -.")[:80].rstrip(" -.")
    return name if plain_file_name(name) else fallback
