"""The files that the server gives out: named beforehand, one by one.

A request is looked up by name in a fixed table and never joined to a path, so
there is nothing to climb out of. What the document names is checked once more,
as the document may have come from somebody else.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from segue.audition.sound import bus_mp3s
from segue.errors import RunFolderError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from segue.audition.page import PageView

_DEVICE: Final = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)", re.I)
"""File names that Windows takes for devices, with any ending (Microsoft, "Naming Files, Paths, and
Namespaces", from memory)."""
_NOT_IN_NAMES: Final = frozenset('/\\:*?"<>|')


def served_files(folder: Path, view: PageView, sounds: Path) -> dict[str, Path]:
    """Every file that may be asked for, by the name it is asked for.

    Parameters
    ----------
    folder : Path
        The run folder.
    sounds : Path
        An empty folder for the encoded sounds.

    Returns
    -------
    dict of str to Path
        Sounds for the page; on an open page the WAVs too.

    Raises
    ------
    RunFolderError
        If the document names something that is not a plain file of the folder.
    """
    for record in view.records:
        for name in (record.music_file, record.click_file, record.cue_file):
            plain_file(folder, name)
    files = {f"{name}.mp3": sounds / f"{name}.mp3" for name, _ in _encoded(folder, view, sounds)}
    if not view.is_blind:
        for n, record in enumerate(view.records):
            files[f"full-{n}.wav"] = plain_file(folder, record.music_file)
    return files


def plain_file(folder: Path, name: str) -> Path:
    """A file that lies in a folder itself, under an ordinary name.

    Parameters
    ----------
    name : str
        As a document has it.

    Raises
    ------
    RunFolderError
        If the name leads elsewhere, or is no regular file.
    """
    if not plain_file_name(name):
        raise RunFolderError(folder, f"names '{name}', which is no file of its own: run it again.")
    path = folder / name
    if not is_regular(path):
        raise RunFolderError(folder, f"has no regular file '{name}': run it again.")
    return path


def plain_file_name(name: str) -> bool:
    """Whether a name is an ordinary one of a file or folder, on any system."""
    is_odd = not name.isprintable() or name.startswith(".") or name.rstrip(". ") != name
    stem = name.partition(".")[0].rstrip(" ")
    return bool(name) and not (is_odd or _NOT_IN_NAMES & set(name) or _DEVICE.fullmatch(stem))


def is_regular(path: Path) -> bool:
    """Whether a path is a file itself, and no link to one."""
    return path.is_file() and not path.is_symlink()


def named_file(files: Mapping[str, Path], name: str) -> Path | None:
    """The file of a name, if there is one and it is still a file itself."""
    path = files.get(name)
    return path if path is not None and is_regular(path) else None


def _encoded(folder: Path, view: PageView, sounds: Path) -> list[tuple[str, bytes]]:
    encoded = bus_mp3s(view.records, folder.joinpath, alike=view.is_blind)
    for name, sound in encoded:
        (sounds / f"{name}.mp3").write_bytes(sound)
    return encoded
