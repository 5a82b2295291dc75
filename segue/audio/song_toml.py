"""``song.toml``: what a musician writes beside a song, checked as a whole.

In a folder of stems it is called just that; beside a single file it has the file's name, as
``Low Tide.song.toml`` beside ``Low Tide.wav``. What counts for one end alone stands under
``[start]`` or ``[end]`` and goes over the rest.

::

    title = "Low Tide"
    key = "F# minor"
    tempo_bpm = 124.0
    first_downbeat_s = 0.52
    metre = 4

    [start]
    opening = "pick-up"
    first_note = "A3"

    [end]
    key = "A major"
    ending = "ring-out"

    [roles]
    "take 3.wav" = "voice"
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from segue.audio.clip import ROLES, Edge, EndingKind, OpeningKind, Overrides, Role
from segue.errors import InputError, KeyNameError, SegueError, did_you_mean, shortened
from segue.files.toml_lines import toml_table
from segue.files.whole_file import plain_bytes
from segue.music.key import parse_key, parse_note

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pydantic_core import ErrorDetails


SONG_TOML: Final = "song.toml"
LARGEST_BYTES: Final = 1 << 18
"""A page of text; anything larger was named so by mistake."""
MIN_TEMPO_BPM: Final = 20.0  # slower is a slip, or another note value
MAX_TEMPO_BPM: Final = 400.0  # faster is a slip, or another note value
MAX_METRE: Final = 32  # more beats in a bar are a slip
_BOTH: Final = ("key", "tempo_bpm", "first_downbeat_s", "metre")
_FIELDS: Final = ("title", *_BOTH, "start", "end", "roles")
_END_FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "start": (*_BOTH, "opening", "first_note"),
    "end": (*_BOTH, "ending"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EndToml:
    """The fields of ``[start]`` or ``[end]``, all optional.

    Parameters
    ----------
    first_note : str or None
        Of the singer, such as 'A3'.
    """

    key: str | None = None
    tempo_bpm: float | None = None
    first_downbeat_s: float | None = None
    metre: int | None = None
    ending: EndingKind | None = None
    opening: OpeningKind | None = None
    first_note: str | None = None

    def over(self, notes: Overrides) -> Overrides:
        """These words first, and where they say nothing, those on the whole song."""
        said = Overrides(
            key=None if self.key is None else parse_key(self.key),
            tempo_bpm=self.tempo_bpm,
            first_downbeat_s=self.first_downbeat_s,
            metre=self.metre,
            ending=self.ending,
            opening=self.opening,
            first_note_midi=None if self.first_note is None else parse_note(self.first_note),
        )
        return said.over(notes)


@dataclass(frozen=True, slots=True, kw_only=True)
class SongToml:
    """The fields of a ``song.toml``, all optional."""

    title: str | None = None
    key: str | None = None
    tempo_bpm: float | None = None
    first_downbeat_s: float | None = None
    metre: int | None = None
    start: EndToml = field(default_factory=EndToml)
    end: EndToml = field(default_factory=EndToml)
    roles: dict[str, Role] = field(default_factory=dict)

    def notes_at(self, edge: Edge) -> Overrides:
        """The musical facts of one end of the song."""
        whole = Overrides(
            key=None if self.key is None else parse_key(self.key),
            tempo_bpm=self.tempo_bpm,
            first_downbeat_s=self.first_downbeat_s,
            metre=self.metre,
        )
        return (self.end if edge == "end" else self.start).over(whole)


def song_toml_beside(song: Path) -> Path:
    """Where what is known of a song is written: in its folder, or beside its file."""
    return song / SONG_TOML if song.is_dir() else song.with_name(f"{song.stem}.{SONG_TOML}")


def load_song_toml(path: Path, *, audio_names: Sequence[str]) -> SongToml:
    """The checked content of a ``song.toml``.

    Parameters
    ----------
    audio_names : sequence of str
        Names of the audio files beside it, which ``[roles]`` may speak of.

    Raises
    ------
    InputError
        If it cannot be read or says something impossible: all faults at once.
    """
    table = _toml_table(path)
    song, problems = _typed(table)
    for said, within in ((song, ""), (song.start, "start."), (song.end, "end.")):
        problems += _out_of_range(said, within)
    problems += _role_problems(song, audio_names)
    if problems:
        raise InputError(path, f"{'; '.join(problems)}.")
    return song


def _toml_table(path: Path) -> dict[str, Any]:
    try:
        return toml_table(plain_bytes(path, most_bytes=LARGEST_BYTES).decode("utf-8-sig"))
    except tomllib.TOMLDecodeError as error:
        raise InputError(path, f"is not valid TOML: {error}; mend that line.") from error
    except UnicodeDecodeError as error:
        raise InputError(path, "is not UTF-8 text; save it again as UTF-8.") from error
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror}); check its rights.") from error
    except RecursionError as error:
        raise InputError(path, "is nested too deep; take its brackets out.") from error
    except ValueError as error:  # whole numbers of thousands of digits
        raise InputError(path, "has an endless number in it; shorten it.") from error


def _typed(table: dict[str, Any]) -> tuple[SongToml, list[str]]:
    """Every field of the right type, and a sentence for each that is not."""
    from pydantic import TypeAdapter, ValidationError

    adapter = TypeAdapter(SongToml)
    text = json.dumps({key: table[key] for key in table if key in _FIELDS}, default=str)
    problems = _not_fields(table, _FIELDS)
    for end, fields in _END_FIELDS.items():
        said = table.get(end)
        if isinstance(said, dict):
            problems += _not_fields(said, fields, within=f"{end}.")
    try:
        return adapter.validate_json(text, strict=True), sorted(problems)
    except ValidationError as error:
        details = error.errors()
    faulty = {str(detail["loc"][0]) for detail in details}
    sound = {key: table[key] for key in table if key in _FIELDS and key not in faulty}
    found = sorted(problems) + [_type_problem(detail) for detail in details]
    return adapter.validate_json(json.dumps(sound, default=str), strict=True), found


def _not_fields(table: Mapping[str, Any], fields: Sequence[str], *, within: str = "") -> list[str]:
    return [
        f"'{within}{shortened(key)}' is not a field{_hint(key, fields)}"
        for key in table.keys() - fields
    ]


def _type_problem(detail: ErrorDetails) -> str:
    place = ".".join(str(part) for part in detail["loc"])
    seen = detail["input"]
    if detail["type"] == "literal_error" and detail["loc"][0] == "roles":
        return f"'{place}' is {shortened(repr(seen))}, not a role{_hint(str(seen), ROLES)}"
    wanted = detail["msg"].removeprefix("Input should be ")
    return f"'{place}' is {shortened(json.dumps(seen))}, write {wanted}"


def _out_of_range(said: SongToml | EndToml, within: str) -> list[str]:
    problems = []
    if said.key is not None:
        try:
            parse_key(said.key)
        except KeyNameError as error:
            problems.append(f"'{within}key': {str(error).removesuffix('.')}")
    if said.tempo_bpm is not None and not MIN_TEMPO_BPM <= said.tempo_bpm <= MAX_TEMPO_BPM:
        limits = f"{MIN_TEMPO_BPM:g} to {MAX_TEMPO_BPM:g} beats a minute"
        problems.append(f"'{within}tempo_bpm' is {said.tempo_bpm:g}, outside {limits}: keep within")
    if said.first_downbeat_s is not None and not 0 <= said.first_downbeat_s < float("inf"):
        told = "before the song starts: write seconds from its start"
        problems.append(f"'{within}first_downbeat_s' is {said.first_downbeat_s:g}, {told}")
    if said.metre is not None and not 1 <= said.metre <= MAX_METRE:
        problems.append(
            f"'{within}metre' is {said.metre}, outside 1 to {MAX_METRE} beats a bar: keep within"
        )
    if isinstance(said, EndToml) and said.first_note is not None:
        try:
            parse_note(said.first_note)
        except SegueError as error:
            problems.append(f"'{within}first_note': {str(error).removesuffix('.')}")
    return problems


def _role_problems(song: SongToml, audio_names: Sequence[str]) -> list[str]:
    return [
        f"'roles.{shortened(name)}' names no audio file in the folder{_hint(name, audio_names)}"
        for name in song.roles
        if name not in audio_names
    ]


def _hint(word: str, known: Sequence[str]) -> str:
    hint = did_you_mean(word, known).strip().rstrip("?")
    return f" (did{hint.removeprefix('Did')}?)" if hint else f" (use one of {', '.join(known)})"
