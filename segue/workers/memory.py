"""Memory that a step has freed, given back to the system before the next one starts."""

from __future__ import annotations

import ctypes
import sys
from functools import cache
from typing import Any, Final

_M_ARENA_MAX: Final = -8
"""Of GNU's `malloc.h`: how many heaps there may be."""


def give_back() -> None:
    """Let the C library return what was freed, where it can.

    GNU's keeps freed arrays of up to 32 MB for later, in pieces that the next step's
    arrays often do not fit; over the steps of a run that comes to a fifth of its memory.
    """
    trim = _of_libc("malloc_trim")
    if trim is not None:
        trim(0)


def one_heap() -> None:
    """Let all threads share one heap, where the C library can; for a whole process, at its start.

    GNU's gives each thread its own, and what a thread that reads has freed is then of no use to
    the step after it: up to 20 MB, differing from run to run.
    """
    set_option = _of_libc("mallopt")
    if set_option is not None:
        set_option(_M_ARENA_MAX, 1)


@cache
def _of_libc(name: str) -> Any:  # noqa: ANN401 - a C function
    """A function of the C library, where it has one."""
    return getattr(ctypes.CDLL(None), name, None) if sys.platform.startswith("linux") else None
