"""Lengths of time as bands write them: '3:45', '45m', '25s', '1m10s', '1:10:00'."""

from __future__ import annotations

import re
from typing import Final

_CLOCK: Final = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d(?:\.\d+)?)")
_UNITS: Final = re.compile(
    r"(?=\d)(?:(\d+)\s*h)?\s*(?:(\d+)\s*m(?:in)?)?\s*(?:(\d+(?:\.\d+)?)\s*s(?:ec)?)?",
    re.IGNORECASE,
)


def length_s(text: str) -> float | None:
    """Seconds of a length of time, or None where the text is none.

    A bare number has no unit and is refused: '45' may be minutes or seconds.

    Examples
    --------
    >>> [length_s(text) for text in ("3:45", "45m", "25s", "1m10s", "1:10:00", "45")]
    [225.0, 2700.0, 25.0, 70.0, 4200.0, None]
    """
    for pattern in (_CLOCK, _UNITS):
        match = pattern.fullmatch(text.strip())
        if match is not None:
            hours, minutes, seconds = (float(part or 0) for part in match.groups())
            return 3600 * hours + 60 * minutes + seconds
    return None


def clock(seconds: float) -> str:
    """Minutes and seconds, with hours where there are any.

    Examples
    --------
    >>> clock(225.2), clock(4200)
    ('3:45', '1:10:00')
    """
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
