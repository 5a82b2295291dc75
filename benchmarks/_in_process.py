"""The command line in forked copies of one process that has everything imported and warm."""

from __future__ import annotations

import contextlib
import io
import multiprocessing.util
import os
import resource
import signal
import sys
import time
import traceback
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

TRACE_MARK: Final = "Traceback (most recent call last)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a command left: exit code, text on both streams, and its cost by the clock."""

    code: int
    out: str
    err: str
    took_s: float
    peak_mb: float


def run_here(args: Sequence[str]) -> Told:
    """The installed command's own entry, in this process; a trace goes to `err`."""
    from segue.cli import boundary

    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
               for _ in range(2)]  # fmt: skip
    kept = sys.argv, sys.stdout, sys.stderr, boundary._logged
    begun = time.monotonic()
    code = 0
    try:
        sys.argv, (sys.stdout, sys.stderr) = ["segue", *args], streams
        boundary._logged = traceback.format_exc
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            boundary.run()
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    finally:
        sys.argv, sys.stdout, sys.stderr, boundary._logged = kept
    out, err = (s.buffer.getvalue().decode("utf-8", "replace") for s in streams)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Told(code=code, out=out, err=err, took_s=time.monotonic() - begun, peak_mb=peak_mb)


def forked(task: Callable[[], int]) -> int:
    """Process id of a copy of this process that does a task and leaves with its code."""
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child:
        return child
    code = 99
    with contextlib.suppress(BaseException):
        signal.signal(signal.SIGINT, signal.default_int_handler)
        code = task()
    with contextlib.suppress(BaseException):
        multiprocessing.util._exit_function()  # what leaving a process of its own would clear away
    os._exit(code)


def forked_command(args: Sequence[str], told: Path | None = None) -> int:
    """A copy that runs a command; what it says on the error stream goes to a file."""

    def task() -> int:
        result = run_here(args)
        if told is not None:
            told.write_text(result.err, encoding="utf-8")
        return result.code

    return forked(task)


def code_of(child: int) -> int:
    """Wait for a copy; its exit code, negative for a signal."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
