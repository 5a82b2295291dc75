"""Times of files, on machines whose clock was put back or forward between two of them."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

A_DAY_S: Final = 86_400.0
"""Seconds. A file that claims to be from so far ahead was written while the clock was wrong."""
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def age_s(modified_s: float) -> float:
    """How long ago a file was written, in seconds; without end where it claims a time to come."""
    age = time.time() - modified_s
    return age if age > -A_DAY_S else float("inf")


def written_at(path: Path) -> datetime:
    """When a file was written, on the local clock; 1970 where its time is none of the calendar's.

    Raises
    ------
    OSError
        If there is no such file.
    """
    modified_s = path.stat().st_mtime
    try:
        return datetime.fromtimestamp(modified_s, tz=UTC).astimezone()
    except (OverflowError, ValueError, OSError):
        return _EPOCH.astimezone()
