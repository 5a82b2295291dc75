"""Which songs are under a folder, whether they changed, and what they hold.

A folder is one song if it has a ``song.toml``, or if its audio files are stems: the name of each
says what it plays, the names speak of one song, and all last about as long. Where that is unclear
they are songs. The words and limits are common practice, no source. Any other folder holds songs.
Hidden entries are passed over, links to folders too, which could lead in circles, and what Segue
made. What may not be looked at is told, and the rest goes on.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Final

from segue.audio.decode import sound_info
from segue.audio.song_toml import SONG_TOML, song_toml_beside
from segue.audio.stems_folder import AUDIO_SUFFIXES, ROLE_WORDS, stem_roles
from segue.errors import InputError, SegueError, disk_faults, text_of
from segue.stage.pack import OUR_MARKS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Tell = Callable[[InputError], None]


_BLOCK_BYTES: Final = 1 << 20  # read at once, to hold little memory
_DIGEST_BYTES: Final = 20  # 160 bits: no two songs of a million share one


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundSong:
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

    @property
    def is_folder(self) -> bool:
        """Whether it is a folder of stems."""
        return self.files != (self.path,)

    @property
    def _all_files(self) -> tuple[Path, ...]:
        """With what is written beside a single file; in a folder it is among the files."""
        beside = () if self.is_folder else (song_toml_beside(self.path),)
        return (*self.files, *(file for file in beside if file.is_file()))

    def stamp(self) -> str:
        """Names, sizes and times of its files: the same as long as nobody touched them.

        Raises
        ------
        OSError
            If a file has gone or may not be looked at.
        """
        states = [(file.name, file.stat()) for file in self._all_files]
        return "|".join(f"{text_of(name)}:{s.st_size}:{s.st_mtime_ns}" for name, s in states)

    def content(self) -> str:
        """Digest of what it holds, whatever it is called, and of what is written beside it.

        A file counts by its bytes alone; in a folder of stems their names count too,
        as they say what each plays.

        Raises
        ------
        OSError
            If a file cannot be read.
        """
        digest = blake2b(digest_size=_DIGEST_BYTES)
        for file in self._all_files:
            if self.is_folder:
                digest.update(f"\n{file.name}:{file.stat().st_size}\n".encode(errors="replace"))
            with file.open("rb") as stream:
                while block := stream.read(_BLOCK_BYTES):
                    digest.update(block)
        return digest.hexdigest()


def songs_under(folders: Sequence[Path], *, closed: Tell | None = None) -> Iterator[FoundSong]:
    """All songs under folders, sorted within each folder.

    Parameters
    ----------
    folders : sequence of Path
        A single audio file will do too.
    closed : callable, optional
        Called with what is wrong with each path below them that may not be looked at.

    Yields
    ------
    FoundSong
        Each path once.

    Raises
    ------
    InputError
        If one of the folders does not exist, or may not be listed itself.
    """
    roots = [absolute(folder) for folder in folders]
    for root in roots:
        _refuse_closed(root)
    seen: set[Path] = set()
    for root in roots:
        for found in _songs_at(root, closed):
            if found.path not in seen:
                seen.add(found.path)
                yield found


def song_at(path: Path) -> FoundSong | None:
    """The song that a path is by the rule of this module; None for a folder of songs, or none.

    Raises
    ------
    OSError
        If it may not be looked at.
    """
    if path.is_file():
        return FoundSong(path=path, files=(path,))
    return _folder_song(path, _entries(path)) if path.is_dir() else None


def absolute(path: Path) -> Path:
    """A path from the root, without '..', and links in it kept."""
    return Path(os.path.abspath(path))  # noqa: PTH100 - keeps links


def _refuse_closed(root: Path) -> None:
    with disk_faults(root, "may not be listed ({}); name a folder of songs."):
        if not root.exists():
            raise InputError(root, "does not exist; is the disk plugged in?")
        if not root.is_file():
            _entries(root)


def _songs_at(path: Path, closed: Tell | None) -> Iterator[FoundSong]:
    if path.is_file():
        yield FoundSong(path=path, files=(path,))
        return
    try:
        entries = _entries(path)
        song = _folder_song(path, entries)
        audio = () if song else tuple(_files(entries, closed))
        folders = [Path(entry.path) for entry in entries if entry.is_dir(follow_symlinks=False)]
    except OSError as error:
        _tell(closed, path, f"may not be looked into ({error.strerror}).")
        return
    if any(entry.name in OUR_MARKS for entry in entries):
        return
    yield from (song,) if song else (FoundSong(path=file, files=(file,)) for file in audio)
    for folder in folders:
        yield from _songs_at(folder, closed)


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    with os.scandir(folder) as entries:
        shown = [entry for entry in entries if not entry.name.startswith(".")]
    return sorted(shown, key=lambda entry: entry.name)


def _folder_song(folder: Path, entries: Sequence[os.DirEntry[str]]) -> FoundSong | None:
    if any(entry.name in OUR_MARKS for entry in entries):
        return None
    audio = tuple(_files(entries))
    notes = tuple(Path(entry.path) for entry in entries if entry.name == SONG_TOML)
    notes = tuple(file for file in notes if file.is_file())
    if audio and (notes or are_stems(audio)):
        return FoundSong(path=folder, files=(*audio, *notes))
    return None


def _files(entries: Sequence[os.DirEntry[str]], closed: Tell | None = None) -> Iterator[Path]:
    """Audio files; a link that leads round in a circle is none, as for `Path`.

    Raises
    ------
    OSError
        If the folder does not let anybody look at its files.
    """
    for entry in entries:
        file = Path(entry.path)
        if file.suffix.lower() not in AUDIO_SUFFIXES:
            continue
        try:
            is_file = file.is_file()
        except OSError as error:
            if not entry.is_symlink():
                raise
            _tell(closed, file, f"leads to what may not be looked at ({error.strerror}).")
            continue
        if is_file:
            yield file


def _tell(closed: Tell | None, path: Path, problem: str) -> None:
    if closed is not None:
        closed(InputError(path, problem))


_LEAST_STEMS: Final = 2  # a single file is a song, no folder of stems
_SAME_LENGTH_S: Final = 3.0  # stems of one song differ by no more; by judgement
_SAME_LENGTH_SHARE: Final = 0.02
"""How far the lengths of stems lie apart at the most: some are cut after their last sound."""
_TOKEN: Final = re.compile(r"\d+|[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[^\W\d_a-zA-Z]+")
_SUFFIX: Final = re.compile(r"\.\w{2,4}$")
_OTHER_WORDS: Final = frozenset(
    {"oh"} | {word for role, words in ROLE_WORDS if role == "other" for word in words.split()}
)
"""What 'other' stems are called; a pair of overheads is often 'OH L' and 'OH R'."""
_HOW_RECORDED: Final = frozenset(
    {"l", "r", "left", "right", "mid", "side", "mono", "stereo", "st", "in", "out", "inside"}
    | {"outside", "top", "bottom", "btm", "high", "low", "hi", "lo", "di", "amp", "mic", "close"}
    | {"room", "far", "near", "dry", "wet", "clean", "dirty", "dist", "distorted", "print", "take"}
    | {"stem", "stems", "track", "back", "backing", "main", "double", "dbl", "harm", "harmony"}
    | {"harmonies", "electric", "el", "e", "ac", "acoustic", "rhythm"}
)
"""Words beside what a stem plays that name no song."""


def are_stems(audio: Sequence[Path]) -> bool:
    """Whether audio files are the stems of one song.

    Parameters
    ----------
    audio : sequence of Path
        All audio files of one folder.
    """
    return are_named_as_stems([file.name for file in audio]) and _last_as_long(audio)


def are_named_as_stems(names: Sequence[str]) -> bool:
    """Whether file names say what each plays, and speak of one song.

    Examples
    --------
    >>> are_named_as_stems(["Low Tide - drums.wav", "Low Tide - bass.wav", "Low Tide - fx.wav"])
    True
    >>> are_named_as_stems(["01 Drum Street.wav", "02 Bass Line Home.wav"])
    False
    """
    if len(names) < _LEAST_STEMS or set(stem_roles(names)) <= {"mix", "other"}:
        return False
    tokens = [_TOKEN.findall(_SUFFIX.sub("", name)) for name in names]
    places = [_role_places([word.lower() for word in own]) for own in tokens]
    if not all(any(own) for own in places):
        return False
    before, beside = [], []
    for words, is_role in zip(tokens, places, strict=True):
        own = [word.lower() for word in words]
        before.append(_of_a_song(own[: is_role.index(True)]))
        rest = [word for word, plays in zip(own, is_role, strict=True) if not plays]
        beside.append(tuple(word for word in _of_a_song(rest) if not word.isdigit()))
    songs = Counter(before)
    if len(songs) > 1 and min(songs.values()) > 1:
        return False  # 'Song 1 - drums', 'Song 1 - bass', 'Song 2 - drums', 'Song 2 - bass'
    return len(set(beside)) == 1 or not all(_without_shared(beside))


def _role_places(words: Sequence[str]) -> list[bool]:
    return [_is_role(word) for word in words]


def _is_role(word: str) -> bool:
    known = {word, word.removesuffix("s")} & _OTHER_WORDS
    return bool(known) or stem_roles([word]) != ("other",)


def _of_a_song(words: Sequence[str]) -> tuple[str, ...]:
    return tuple(word for word in words if word not in _HOW_RECORDED)


def _without_shared(names: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Names without the words that all of them hold: those of an act, or of the one song."""
    shared = set(names[0]).intersection(*names[1:])
    return [tuple(word for word in name if word not in shared) for name in names]


def _last_as_long(audio: Sequence[Path]) -> bool:
    """A file that cannot be read is no objection: whoever hears the song complains of it."""
    lengths_s = [length_s for file in audio if (length_s := _length_s(file)) is not None]
    longest_s = max(lengths_s, default=0.0)
    spread_s = longest_s - min(lengths_s, default=0.0)
    return spread_s <= max(_SAME_LENGTH_S, _SAME_LENGTH_SHARE * longest_s)


def _length_s(file: Path) -> float | None:
    try:
        info = sound_info(file)
    except (SegueError, OSError):
        return None
    return info.n_frames / info.rate_hz
