"""Whether the audio files of a folder are the stems of one song, or songs.

They are one song if the name of each says what it plays, the names speak of one song,
and all last about as long. Where that is unclear they are songs: a ``song.toml`` beside
them makes one song of any files. The words and limits are common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from segue.audio.decode import sound_info
from segue.audio.stems_folder import ROLE_WORDS, stem_roles
from segue.errors import SegueError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

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
