"""Files that travel with a task to a machine that does not share our disks, and back.

A task's input is made of dataclasses, and the files it is about are the `Path`s in it.
They are sent as bytes under names of their own, unpacked into a temporary folder there,
and the task gets its input with the paths of that folder. What it wrote under those
paths comes back; in text files the temporary paths read as ours again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any, Final, TypeVar

from segue.errors import RunFolderError
from segue.files.whole_file import write_whole
from segue.runfolder import whole_folder

_TEXT_SUFFIXES: Final = frozenset({".json", ".html"})
"""Of files in which a path may stand, written as in JSON."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """Files under some paths.

    Parameters
    ----------
    roots : tuple of Path
        The paths as they stand in the input, files or folders that may not exist yet.
    files : mapping of (int, str) to bytes
        Contents, by the number of the root and the place under it; '' is the root itself.
    """

    roots: tuple[Path, ...]
    files: Mapping[tuple[int, str], bytes]


def packed(value: object) -> Parcel:
    """All files under the paths of a task's input.

    Parameters
    ----------
    value : object
        Dataclasses, tuples and mappings with paths in them.
    """
    roots = tuple(dict.fromkeys(_paths_in(value)))
    return Parcel(roots=roots, files=_contents(roots))


def unpacked(value: T, parcel: Parcel, folder: Path) -> tuple[T, tuple[Path, ...]]:
    """The input with its files in a folder of this machine.

    Parameters
    ----------
    value : object
        As it was packed.
    folder : Path
        Empty.

    Returns
    -------
    value : object
        The same with other paths.
    roots : tuple of Path
        Where the parcel's roots are now.
    """
    # each in a folder of its own, so that two roots of one name do not meet
    roots = tuple(folder / str(n) / root.name for n, root in enumerate(parcel.roots))
    for root in roots:
        root.parent.mkdir(parents=True)
    for (number, below), content in parcel.files.items():
        _write(roots[number] / below if below else roots[number], content)
    return _with_paths(value, dict(zip(parcel.roots, roots, strict=True))), roots


def changed(parcel: Parcel, roots: tuple[Path, ...]) -> dict[tuple[int, str], bytes | None]:
    """What became of the files under the roots since the parcel was unpacked.

    Parameters
    ----------
    roots : tuple of Path
        From `unpacked`.

    Returns
    -------
    dict of (int, str) to bytes or None
        By places as in `Parcel.files`: what was written, with our paths in it, and None
        for what is gone.
    """
    now = _contents(roots)
    written = {
        place: _with_our_paths(content, place[1], parcel.roots, roots)
        for place, content in now.items()
        if parcel.files.get(place) != content
    }
    return written | dict.fromkeys(parcel.files.keys() - now.keys())


def write_back(parcel: Parcel, files: Mapping[tuple[int, str], bytes | None]) -> None:
    """Write what a task wrote where it was sent from: every folder whole or not at all.

    Parameters
    ----------
    parcel : Parcel
        As it was sent.
    files : mapping of (int, str) to bytes or None
        As from `changed`.

    Raises
    ------
    RunFolderError
        If a folder is not any more as it was sent, cannot be written, or is being written by
        another process.
    OSError
        If a file that is a root itself cannot be written.
    """
    for number, root in enumerate(parcel.roots):
        mine = {below: content for (n, below), content in files.items() if n == number}
        content = mine.get("")
        if content is not None:
            write_whole(root, content)
        elif "" in mine:
            root.unlink(missing_ok=True)
        elif mine:
            sent = {below: content for (n, below), content in parcel.files.items() if n == number}
            _write_folder(root, sent, mine)


def _write_folder(root: Path, sent: Mapping[str, bytes], files: Mapping[str, bytes | None]) -> None:
    with whole_folder(root) as staging:
        there = {below: content for (_, below), content in _contents((root,)).items()}
        if there != sent:
            raise RunFolderError(
                root, "was changed here while it was made elsewhere: run it again."
            )
        for below, content in {**sent, **files}.items():
            if content is not None:
                _write(staging / below, content)


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def with_our_paths(result: T, parcel: Parcel, roots: tuple[Path, ...]) -> T:
    """A task's result with our paths where it has those of the temporary folder.

    Parameters
    ----------
    roots : tuple of Path
        From `unpacked`.
    """
    ours: T = _with_paths(result, dict(zip(roots, parcel.roots, strict=True)))
    return ours


def _contents(roots: tuple[Path, ...]) -> dict[tuple[int, str], bytes]:
    found = {}
    for number, root in enumerate(roots):
        if root.is_file():
            found[number, ""] = root.read_bytes()
        for path in sorted(root.rglob("*")) if root.is_dir() else ():
            if path.is_file():
                found[number, path.relative_to(root).as_posix()] = path.read_bytes()
    return found


def _paths_in(value: object) -> tuple[Path, ...]:
    if isinstance(value, Path):
        return (value,)
    if is_dataclass(value):
        return _paths_in([getattr(value, field.name) for field in fields(value)])
    if isinstance(value, Mapping):
        return _paths_in([*value.keys(), *value.values()])
    if isinstance(value, (tuple, list, frozenset)):
        return tuple(path for item in value for path in _paths_in(item))
    return ()


def _with_paths(value: Any, moved: Mapping[Path, Path]) -> Any:  # noqa: ANN401
    """The same with paths replaced, and texts that begin with one of them too."""
    if isinstance(value, Path):
        return moved.get(value, value)
    if isinstance(value, str):
        return next(
            (value.replace(str(a), str(b)) for a, b in moved.items() if value == str(a)), value
        )
    if is_dataclass(value) and not isinstance(value, type):
        new = {f.name: _with_paths(getattr(value, f.name), moved) for f in fields(value) if f.init}
        return replace(value, **new)
    if isinstance(value, Mapping):
        return {_with_paths(k, moved): _with_paths(v, moved) for k, v in value.items()}
    if isinstance(value, (tuple, list, frozenset)):
        return type(value)(_with_paths(item, moved) for item in value)
    return value


def _with_our_paths(
    content: bytes, below: str, ours: tuple[Path, ...], theirs: tuple[Path, ...]
) -> bytes:
    if Path(below).suffix not in _TEXT_SUFFIXES:
        return content
    for our, their in zip(ours, theirs, strict=True):
        content = content.replace(_in_json(their), _in_json(our))
    return content


def _in_json(path: Path) -> bytes:
    return json.dumps(str(path), ensure_ascii=False)[1:-1].encode()
