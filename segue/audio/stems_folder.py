"""Which files make up a song, what each plays, and what the musician says of it.

What a stem plays is told from its file's name. Names are cut into words at case changes,
digits and separators; words that all files of a folder start with (a song's name) count
last. The vocabulary is common practice, no source.
"""

from __future__ import annotations

import contextlib
import re
import stat
from dataclasses import dataclass, field
from itertools import takewhile
from typing import TYPE_CHECKING, Final

from segue.audio.song_toml import SONG_TOML, SongToml, load_song_toml, song_toml_beside
from segue.errors import AudioFileError, InputError, printable

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.audio.clip import Role


ROLE_WORDS: Final[tuple[tuple[Role, str], ...]] = (
    ("drums", "kickdrum bassdrum"),
    ("voice", "voice vocal vox vocs voc vx vocalist sing singer singing sung choir backings"),
    ("voice", "bgv bgvs bvs bvox ldvox"),
    ("bass", "bass sub 808 bs upright"),
    ("drums", "drum drm drummer kick kik bd snare sd snr hat hihat hh cymbal crash ride tom"),
    ("drums", "overhead perc percussion beat groove clap shaker tambourine conga bongo cajon kit"),
    ("guitar", "guitar gtr gt gtrs strat acoustic banjo ukulele mandolin"),
    ("keys", "key keyboard piano pno rhodes wurli wurlitzer organ hammond clavinet clav epiano ep"),
    ("keys", "harpsichord accordion"),
    ("lead", "lead melody solo ld"),
    ("synth", "synth synthesizer syn pad arp arpeggio pluck sequence seq"),
    ("other", "other fx sfx string brass horn sax saxophone trumpet trombone violin viola cello"),
    ("other", "flute clarinet harmonica noise ambience atmos sample rest misc"),
    ("mix", "mix mixdown master fullmix stereomix twotrack bounce"),
)
"""Words of each role; the first line that fits wins, so "lead vocal" is a voice."""

_ALL_THE_REST: Final = frozenset({"other", "rest", "misc"})
"""What says no more than that nothing else says it."""
_QUALIFIERS: Final = frozenset({"e", "el", "electric", "ac", "back", "backing", "rhythm", "main"})
_WORD = re.compile(r"808|[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[^\W\d_a-zA-Z]+")
_PHRASES: Final = re.compile(r"\b(kick|bass)[\W_]*(drum)", re.IGNORECASE)
_ROLE_OF_WORD: Final[dict[str, tuple[int, Role]]] = {
    word: (rank, role) for rank, (role, words) in enumerate(ROLE_WORDS) for word in words.split()
}


def stem_roles(names: Sequence[str]) -> tuple[Role, ...]:
    """Role of each file of one folder.

    Returns
    -------
    tuple of Role
        'other' where no word of the name is known; 'mix' for what is called a mix.

    Examples
    --------
    >>> stem_roles(["Bass Drop - 01 DRUMS.wav", "Bass Drop - 02 leadVox.wav"])
    ('drums', 'voice')
    """
    words = [_words(name) for name in names]
    shared = _n_shared(words)
    return tuple(
        _role_of_words(own[shared:]) or _role_of_words(own[:shared]) or "other" for own in words
    )


def is_backing(name: str, role: Role) -> bool:
    """Whether a stem's name does not say what plays, as that of a backing track: drums may.

    Examples
    --------
    >>> is_backing("Low Tide instrumental.wav", "other"), is_backing("strings.wav", "other")
    (True, False)
    """
    words = set(_words(name))
    return role == "other" and (not _role_of_words(list(words)) or bool(words & _ALL_THE_REST))


def _n_shared(words: Sequence[Sequence[str]]) -> int:
    """How many words all of several names start with."""
    if len(words) == 1:
        return 0
    columns = (len(set(column)) == 1 for column in zip(*words, strict=False))
    return sum(takewhile(bool, columns))


def _words(name: str) -> list[str]:
    stem = re.sub(r"\.\w{2,4}$", "", name)
    return [word.lower() for word in _WORD.findall(_PHRASES.sub(r"\1\2", stem))]


def _role_of_words(words: Sequence[str]) -> Role | None:
    ranked = [found for word in words if (found := _word_role(word)) is not None]
    return min(ranked)[1] if ranked else None


def _word_role(word: str) -> tuple[int, Role] | None:
    if (known := _known(word)) is not None:
        return known
    halves = ((word[:cut], word[cut:]) for cut in range(1, len(word)))
    glued = (
        min(found)
        for first, second in halves
        if (found := [role for half in (first, second) if (role := _known(half))])
        and all(_known(half) or half in _QUALIFIERS for half in (first, second))
    )
    return next(glued, None)


def _known(word: str) -> tuple[int, Role] | None:
    return _ROLE_OF_WORD.get(word) or _ROLE_OF_WORD.get(word.removesuffix("s"))


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
    is_backing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SongFiles:
    """The files of a song, its title, and the musician's notes."""

    title: str
    stems: tuple[StemFile, ...]
    said: SongToml = field(default_factory=SongToml)


def read_folder(path: Path) -> SongFiles:
    """The files of a song, which is one file or a folder of stems.

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
            StemFile(path=file, role=role, is_backing=is_backing(file.name, role))
            for file, role in zip(files, roles, strict=True)
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


def promises_sound(path: Path) -> bool:
    """Whether a name is that of an audio file; what is hidden is none."""
    return path.suffix.lower() in AUDIO_SUFFIXES and not path.name.startswith(".")


def _audio_files(folder: Path) -> list[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: (entry.name.casefold(), entry.name))
    except PermissionError as error:
        raise InputError(folder, "may not be listed by you; change its permissions.") from error
    files = [entry for entry in entries if promises_sound(entry) and not entry.is_dir()]
    if not files:
        raise InputError(
            folder, "holds no audio files; name a song file, or a folder with one file a stem."
        )
    return files


def _song_toml(song: Path, files: list[Path]) -> SongToml:
    try:
        path = song_toml_beside(song)
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
