"""Which files make up a song, what each plays, and what the musician says of it."""

from __future__ import annotations

import contextlib
import re
import stat
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from segue.audio.roles import stem_roles
from segue.audio.song_toml import SONG_TOML, SongToml, load_song_toml, song_toml_beside
from segue.errors import AudioFileError, InputError, printable

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audio.clip import Role

AUDIO_SUFFIXES: Final = frozenset(
    {".wav", ".wave", ".bwf", ".rf64", ".w64", ".flac", ".aif", ".aiff", ".aifc", ".caf", ".au"}
    | {".ogg", ".oga", ".opus", ".mp3", ".mp2", ".m4a", ".aac", ".alac", ".wma", ".ape", ".wv"}
)
"""Names that promise sound: such a file is read or complained of, never passed over."""


_RUNNING_NUMBER = re.compile(r"^(?:0\d+[\s._-]+|\d{1,3}\s*[._-]\s*)(?=\S)")
"""A number with a leading zero, or any with a dot or dash: other numbers belong to the title."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StemFile:
    """One audio file of a song and what it plays."""

    path: Path
    role: Role


@dataclass(frozen=True, slots=True, kw_only=True)
class SongFiles:
    """The files of a song, its title, and the musician's notes."""

    title: str
    stems: tuple[StemFile, ...]
    said: SongToml = field(default_factory=SongToml)


def read_folder(path: Path) -> SongFiles:
    """The files of a song, which is one file or a folder of stems.

    Parameters
    ----------
    path : Path
        An audio file or a folder.

    Returns
    -------
    SongFiles
        Stems by file name; one with role 'mix' if there is one file only.

    Raises
    ------
    InputError
        If the folder holds no audio or a mix beside its stems, or a ``song.toml`` is faulty.
    """
    if not _is_folder(path):
        song = _song_toml(path, [])
        title = song.title or title_of(path.stem)
        return SongFiles(title=title, stems=(StemFile(path=path, role="mix"),), said=song)
    files = _audio_files(path)
    song = _song_toml(path, files)
    roles = _roles(path, files, song)
    return SongFiles(
        title=song.title or title_of(path.resolve().name),
        stems=tuple(
            StemFile(path=file, role=role) for file, role in zip(files, roles, strict=True)
        ),
        said=song,
    )


def title_at(path: Path) -> str:
    """Title of a song that may not be there, or not be readable: then its name tells it.

    Returns
    -------
    str
        What its ``song.toml`` says; else what the file or folder is called, of a folder all of it.
    """
    is_folder = _is_folder(path)
    with contextlib.suppress(InputError, OSError):
        song = _song_toml(path, _audio_files(path) if is_folder else [])
        if song.title:
            return song.title
    is_named_file = not is_folder and path.suffix.lower() in AUDIO_SUFFIXES
    return title_of(path.stem if is_named_file else path.name)


def audio_names(song: Path) -> tuple[str, ...]:
    """Names of the audio files of a folder of stems, of which its ``song.toml`` may speak."""
    return tuple(file.name for file in _audio_files(song)) if _is_folder(song) else ()


def title_of(name: str) -> str:
    """Title in a file or folder name: the name without a running number before it.

    Examples
    --------
    >>> title_of("03 - Low Tide"), title_of("01 Low Tide"), title_of("40 Winters")
    ('Low Tide', 'Low Tide', '40 Winters')
    """
    return printable(_RUNNING_NUMBER.sub("", name) or name)


def _is_folder(path: Path) -> bool:
    try:
        return stat.S_ISDIR(path.stat().st_mode)
    except (OSError, ValueError):
        return False  # whoever opens it says what is wrong


def _audio_files(folder: Path) -> list[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: (entry.name.casefold(), entry.name))
    except PermissionError as error:
        raise InputError(folder, "may not be listed by you; change its permissions.") from error
    files = [
        entry
        for entry in entries
        if entry.suffix.lower() in AUDIO_SUFFIXES
        and not entry.name.startswith(".")
        and not entry.is_dir()
    ]
    if not files:
        raise InputError(
            folder, "holds no audio files; name a song file, or a folder with one file a stem."
        )
    return files


def _song_toml(song: Path, files: list[Path]) -> SongToml:
    path = song_toml_beside(song)
    try:
        if not path.exists():
            return SongToml()
    except (OSError, ValueError):  # whoever opens the song says what is wrong
        return SongToml()
    if not path.is_file():
        raise InputError(path, "is not a file; remove it or put a text file there.")
    return load_song_toml(path, audio_names=[file.name for file in files])


def _roles(folder: Path, files: list[Path], song: SongToml) -> list[Role]:
    guessed = ("mix",) if len(files) == 1 else stem_roles([file.name for file in files])
    roles: list[Role] = [
        song.roles.get(file.name, guess) for file, guess in zip(files, guessed, strict=True)
    ]
    mixes = [file for file, role in zip(files, roles, strict=True) if role == "mix"]
    if mixes and len(files) > 1:
        raise AudioFileError(
            mixes[0],
            f"is a mix beside the stems of {folder.name}, which would sound twice; move it out "
            f"of the folder, or give its role in {SONG_TOML}.",
        )
    return roles
