"""Command-line words that are shared, and how they become facts."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, cast, get_args

from segue.errors import OptionError, did_you_mean, shortened
from segue.music.key import parse_key, parse_note

if TYPE_CHECKING:
    from segue.analysis.facts import EndingKind, OpeningKind
    from segue.analysis.overrides import Overrides

LOWEST_BPM = 20.0  # slower is a slip, or another note value
HIGHEST_BPM = 400.0  # faster is a slip, or another note value
HIGHEST_METRE = 12  # more beats in a bar are a slip
LONGEST_TALK_S = 600.0  # ten minutes of talk over a bed
_TALK = re.compile(r"(?:(\d+)\s*m(?:in)?)?\s*(?:(\d+(?:\.\d+)?)\s*s?)?", re.IGNORECASE)


def seconds_of(option: str, text: str) -> float:
    """Seconds of a length of time as people write it.

    Parameters
    ----------
    option : str
        Where it was typed.
    text : str
        Such as '25', '25s' or '1m10s'.

    Raises
    ------
    OptionError
        If the text is no length of time, or none that anybody talks for.

    Examples
    --------
    >>> seconds_of("--talk", "1m10s")
    70.0
    """
    match = _TALK.fullmatch(text.strip())
    if match is None or match.groups() == (None, None):
        raise OptionError(f"{option} '{text}' is not a length of time: write 25s or 1m10s.")
    minutes, seconds = (float(part or 0) for part in match.groups())
    total_s = 60 * minutes + seconds
    if not 0 < total_s <= LONGEST_TALK_S:
        raise OptionError(
            f"{option} '{text}' is outside 1 s to {LONGEST_TALK_S / 60:.0f} minutes: "
            "write 25s or 1m10s."
        )
    return total_s


def overrides_of(
    *,
    key: str | None = None,
    tempo_bpm: float | None = None,
    metre: int | None = None,
    downbeat_s: float | None = None,
    tuning_cents: float | None = None,
    ending: str | None = None,
    opening: str | None = None,
    first_note: str | None = None,
) -> Overrides:
    """What the musician says, checked.

    Parameters
    ----------
    key, tempo_bpm, metre, downbeat_s, tuning_cents, ending, opening, first_note
        As typed; None where nothing was said.

    Raises
    ------
    SegueError
        If a value makes no sense, with what would.
    """
    from segue.analysis.facts import EndingKind, OpeningKind
    from segue.analysis.overrides import Overrides

    _check_range("tempo", tempo_bpm, LOWEST_BPM, HIGHEST_BPM, "BPM")
    _check_range("metre", metre, 1, HIGHEST_METRE, "beats a bar")
    _check_range("tuning", tuning_cents, -50, 50, "cents from A4 = 440 Hz")
    _check_range("downbeat", downbeat_s, 0, 24 * 3600, "seconds from the start of the file")
    return Overrides(
        key=None if key is None else parse_key(key),
        tuning_cents=tuning_cents,
        tempo_bpm=tempo_bpm,
        metre=metre,
        first_downbeat_s=downbeat_s,
        ending=cast("EndingKind | None", _one_of("ending", ending, get_args(EndingKind))),
        opening=cast("OpeningKind | None", _one_of("opening", opening, get_args(OpeningKind))),
        first_note_midi=None if first_note is None else parse_note(first_note),
    )


def _check_range(name: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise OptionError(f"{name} {value:g} is outside {low:g} to {high:g} {unit}: keep within.")


def _one_of(name: str, word: str | None, allowed: tuple[str, ...]) -> str | None:
    if word is None or word in allowed:
        return word
    raise OptionError(
        f"{name} '{shortened(word)}' is none of {', '.join(allowed)}: take one of these."
        f"{did_you_mean(word, allowed)}"
    )
