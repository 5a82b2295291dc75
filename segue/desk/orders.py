"""What the page may send, and how it becomes what the commands take.

How fast a band talks between songs is kept with the folder of its songs, for words that are typed.

References
----------
.. [TA90] S. Tauroza and D. Allison, "Speech rates in British English", Applied Linguistics 11(1),
   1990, 90-105: about 140 words a minute in lectures, 210 in conversation (from memory).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Final, Literal

from annotated_types import MaxLen

from segue.audio.write_song_toml import said_of, write_end
from segue.audition.limits import RequestRefusalError
from segue.audition.page import MOST_WORDS
from segue.catalogue.filling import title_at
from segue.desk.house import RUNS, House
from segue.desk.own_folder import LONGEST_NAME, safe_name
from segue.desk.sketcher import RoughSound, rough_order
from segue.errors import InputError, OptionError, SegueError
from segue.files.toml_lines import toml_table
from segue.files.whole_file import plain_bytes, write_whole
from segue.job.request import LONGEST_TALK_S, Request
from segue.plan.places_asked import places_asked

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.maker import OrderedRun


Name = Annotated[str, MaxLen(LONGEST_NAME)]
Words = Annotated[str, MaxLen(MOST_WORDS)]
_BUSY, _INVALID = 429, 422  # status codes of HTTP (RFC 6585, RFC 9110)


@dataclass(frozen=True, slots=True, kw_only=True)
class SayBody:
    """Says one thing of one end of a song; None takes back what was said."""

    song: Name
    edge: Literal["start", "end"]
    field: Literal[
        "key", "tempo_bpm", "first_downbeat_s", "metre", "ending", "opening", "first_note"
    ]
    value: Words | float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeBody:
    """Wants segues; what is left out is left to Segue."""

    old: Name
    new: Name
    leave: Annotated[str, MaxLen(40)] | None = None
    enter: Annotated[str, MaxLen(40)] | None = None
    bars: int | None = None
    purpose: Literal["talk", "lift", "calm", "dance"] | None = None
    talk_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChooseBody:
    """Chooses an option."""

    run: Name
    rank: int
    why: Words = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunBody:
    """Wants something of a run."""

    run: Name
    rank: int | None = None
    blind: bool = False


def say(house: House, body: SayBody) -> None:
    """Write down what was said, and hear that end again with it.

    Raises
    ------
    SegueError
        If it is impossible, or cannot be written; then nothing has changed.
    """
    song = house.song(body.song)
    value = body.value
    if body.field == "metre" and isinstance(value, float):
        value = int(value)
    wanted = (str,) if body.field in ("key", "ending", "opening", "first_note") else (int, float)
    if value is not None and (not isinstance(value, wanted) or isinstance(value, bool)):
        raise RequestRefusalError(f"That is no {body.field}.", status=_INVALID)
    said = replace(said_of(song.path, body.edge), **{body.field: value})  # type: ignore[arg-type]
    write_end(song.path, body.edge, said)
    house.ears.want(house.song(body.song), body.edge, at_once=True)
    house.tell("ends")


def order(house: House, body: MakeBody) -> OrderedRun:
    """Have a run made, in a run folder of its own.

    Raises
    ------
    RequestRefusalError
        If a song is gone, or too much waits already.
    SegueError
        If a place is none.
    """
    out = house.folder.free(RUNS, pair_name(house, body.old, body.new))
    taken = {making.run for making in house.maker.makings.values()}
    name, number = house.folder.name_of(out), 1
    while name in taken and not (house.folder.inside(name)).exists():
        number += 1
        name = f"{house.folder.name_of(out)} {number}"
    request = _request(house, body, house.folder.inside(name))
    making = house.maker.order(request, name)
    if making is None:
        raise RequestRefusalError("Too much is waiting already.", status=_BUSY)
    house.tell("making")
    return making


def rough(house: House, body: MakeBody) -> RoughSound:
    """What the first option may be like, at once; nothing is written.

    Raises
    ------
    RequestRefusalError
        If a song is gone.
    SegueError
        If a place is none, or the songs are not heard yet.
    """
    wanted = rough_order(house.ears, _request(house, body, house.scratch))
    if wanted is None:
        raise SegueError("Segue is still listening to these songs: a moment.")
    return house.sketcher.rough(wanted)


def _request(house: House, body: MakeBody, out: Path) -> Request:
    plain = house.request(body.old, body.new, out)
    if body.talk_s is not None and not 0 < body.talk_s <= LONGEST_TALK_S:
        raise RequestRefusalError("Talk lasts 1 s to 10 minutes.", status=_INVALID)
    asked = places_asked(leave=body.leave, enter=body.enter, n_bars=body.bars)
    return replace(plain, purpose=body.purpose, talk_s=body.talk_s, asked=asked)


def pair_name(house: House, old: str, new: str) -> str:
    """What a run folder of two songs is called."""
    titles = [title_at(house.song(name)) for name in (old, new)]
    first, second = (safe_name(title, fallback="song")[:38].rstrip() for title in titles)
    return f"{first} to {second}"


USUAL_PACE: Final = 140
"""Words a minute of somebody who speaks to a room: the lectures of [TA90]_."""
SLOWEST_PACE, FASTEST_PACE = 60, 260
"""Words a minute: far slower and faster than the slowest and fastest of [TA90]_; by judgement."""
PACE_NAME: Final = ".segue-desk.toml"
"""File in the folder of the songs; no song and no set is ever called so."""
_LARGEST_BYTES: Final = 4096  # of a file with one line
_ABOVE: Final = "# Kept by 'segue desk': how fast you talk between songs.\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceBody:
    """Says how fast is talked."""

    words_a_minute: int


def words_a_minute(house: House) -> int:
    """How fast this band talks: as it said, or as people usually do.

    Raises
    ------
    InputError
        If the file that holds it is faulty.
    """
    path = _path(house)
    if not path.is_file():
        return USUAL_PACE
    try:
        table = toml_table(plain_bytes(path, most_bytes=_LARGEST_BYTES).decode())
    except (OSError, ValueError, RecursionError, tomllib.TOMLDecodeError) as error:
        words = "cannot be read: delete it, and say anew how fast you talk."
        raise InputError(path, words) from error
    pace = table.get("words_a_minute")
    if isinstance(pace, bool) or not isinstance(pace, int) or not _is_pace(pace):
        words = (
            f"should say words_a_minute = {USUAL_PACE}, or another whole number from "
            f"{SLOWEST_PACE} to {FASTEST_PACE}."
        )
        raise InputError(path, words)
    return pace


def keep_pace(house: House, body: PaceBody) -> None:
    """Write down how fast this band talks.

    Raises
    ------
    OptionError
        If nobody talks so.
    """
    if not _is_pace(body.words_a_minute):
        raise OptionError(
            f"{body.words_a_minute} words a minute: people talk {SLOWEST_PACE} to {FASTEST_PACE}."
        )
    write_whole(_path(house), f"{_ABOVE}words_a_minute = {body.words_a_minute}\n".encode())


def _is_pace(pace: int) -> bool:
    return SLOWEST_PACE <= pace <= FASTEST_PACE


def _path(house: House) -> Path:
    return house.folder.root / PACE_NAME
