"""Which songs are under a folder, whether they changed, and what they hold.

A folder is one song if it has a ``song.toml``, or if it holds two or more audio files
and the name of each says what it plays; any other folder holds songs. Hidden entries
are passed over, links to folders too, which could lead in circles, and what Segue made.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.audio.folder import AUDIO_SUFFIXES
from segue.audio.roles import stem_roles
from segue.audio.song_toml import SONG_TOML
from segue.errors import InputError
from segue.runfolder.document import DOCUMENT_NAME
from segue.stage.pack import PACK_MARK

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_OURS: Final = frozenset({DOCUMENT_NAME, PACK_MARK})
"""Folders with one of these hold what Segue made, which is no song."""
_LEAST_STEMS: Final = 2
_BLOCK_BYTES: Final = 1 << 20
_DIGEST_BYTES: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A song on disk.

    Parameters
    ----------
    path : Path
        An audio file or a folder of stems; absolute.
    files : tuple of Path
        What it is read from.
    """

    path: Path
    files: tuple[Path, ...]

    def stamp(self) -> str:
        """Names, sizes and times of its files: the same as long as nobody touched them.

        Raises
        ------
        OSError
            If a file has gone or may not be looked at.
        """
        states = [(file.name, file.stat()) for file in self.files]
        return "|".join(f"{name}:{s.st_size}:{s.st_mtime_ns}" for name, s in states)

    def content(self) -> str:
        """Digest of what it holds, whatever it is called.

        A file counts by its bytes alone; in a folder of stems their names count too,
        as they say what each plays.

        Raises
        ------
        OSError
            If a file cannot be read.
        """
        is_folder = self.files != (self.path,)
        digest = blake2b(digest_size=_DIGEST_BYTES)
        for file in self.files:
            if is_folder:
                digest.update(f"\n{file.name}:{file.stat().st_size}\n".encode(errors="replace"))
            with file.open("rb") as stream:
                while block := stream.read(_BLOCK_BYTES):
                    digest.update(block)
        return digest.hexdigest()


def songs_under(folders: Sequence[Path]) -> Iterator[Found]:
    """All songs under folders, sorted within each folder.

    Parameters
    ----------
    folders : sequence of Path
        A single audio file will do too.

    Yields
    ------
    Found
        Each path once.

    Raises
    ------
    InputError
        If a folder does not exist or may not be listed: before the first song.
    """
    roots = [Path(os.path.abspath(folder)) for folder in folders]  # noqa: PTH100 - keeps links
    for root in roots:
        if not root.exists():
            raise InputError(root, "does not exist; is the disk plugged in?")
    seen: set[Path] = set()
    for root in roots:
        for found in _songs_at(root):
            if found.path not in seen:
                seen.add(found.path)
                yield found


def _songs_at(path: Path) -> Iterator[Found]:
    if path.is_file():
        yield Found(path=path, files=(path,))
        return
    try:
        entries = sorted(os.scandir(path), key=lambda entry: entry.name)
    except OSError as error:
        raise InputError(
            path, f"may not be listed ({error.strerror}); name a folder of songs."
        ) from error
    entries = [entry for entry in entries if not entry.name.startswith(".")]
    if any(entry.name in _OURS for entry in entries):
        return
    # a link that leads round in a circle is no file, as for `Path`, and no reason to stop
    files = [file for file in (Path(entry.path) for entry in entries) if file.is_file()]
    audio = tuple(file for file in files if file.suffix.lower() in AUDIO_SUFFIXES)
    notes = tuple(file for file in files if file.name == SONG_TOML)
    if audio and (notes or _are_stems(audio)):
        yield Found(path=path, files=(*audio, *notes))
    else:
        yield from (Found(path=file, files=(file,)) for file in audio)
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _songs_at(Path(entry.path))


def _are_stems(audio: Sequence[Path]) -> bool:
    if len(audio) < _LEAST_STEMS:
        return False
    return all(role not in {"mix", "other"} for role in stem_roles([f.name for f in audio]))
