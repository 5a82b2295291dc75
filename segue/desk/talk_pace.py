"""How fast a band talks between songs: kept with the folder of its songs, for words that are typed.

References
----------
.. [TA90] S. Tauroza and D. Allison, "Speech rates in British English", Applied Linguistics 11(1),
   1990, 90-105: about 140 words a minute in lectures, 210 in conversation (from memory).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.errors import InputError, OptionError
from segue.files.plain_file import plain_bytes
from segue.files.toml_lines import toml_table
from segue.files.whole_file import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from segue.desk.house import House

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
