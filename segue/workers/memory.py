"""Memory that a step has freed, given back to the system before the next one starts."""

from __future__ import annotations

import ctypes
import sys
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def give_back() -> None:
    """Let the C library return what was freed, where it can.

    GNU's keeps freed arrays of up to 32 MB for later, in pieces that the next step's
    arrays often do not fit; over the steps of a run that comes to a fifth of its memory.
    """
    trim = _trim()
    if trim is not None:
        trim(0)


@cache
def _trim() -> Callable[[int], int] | None:
    """The C library's `malloc_trim`, where it has one."""
    if not sys.platform.startswith("linux"):
        return None
    return getattr(ctypes.CDLL(None), "malloc_trim", None)
