"""Where errors become one sentence and an exit code.

0 all went well, 1 our fault, 2 bad use or bad input, 130 interrupted.
"""

from __future__ import annotations

import atexit
import contextlib
import errno
import io
import os
import signal
import sys
import traceback
from pathlib import Path
from typing import Final, NoReturn

from segue.errors import SegueError, printable
from segue.workers import ONE_THREAD, heed_what_is_lost

EXIT_OUR_FAULT = 1  # exit status of a fault of the program
EXIT_BAD_INPUT = 2  # exit status of what a person can mend
EXIT_INTERRUPTED = 130  # exit status after Ctrl-C: 128 and the signal's number
_ENDINGS: Final = ("SIGTERM", "SIGHUP")
"""Being asked to end, and the terminal closed: what they break off is cleaned up as by Ctrl-C."""
_DRAFT: Final = "--draft"
"""Option of the command that is to be heard at once."""
_MAIN_JOB: Final = ("between", "demo")  # commands whose work is shared by processes
_ALONE: Final = frozenset({"--workers", "--recipe"})
"""Options by which it may not be."""
DRAFT_MODULES: Final = (
    "segue.job.draft",
    "segue.job.steps",
    "segue.render.render",
    "segue.render.compiled",
)
"""What every draft is rendered with; what some need is loaded while other layers are made."""
JOB_MODULES: Final = (
    "segue.job.steps",
    "segue.job.keeping",
    "segue.job.shortlist",
    "segue.analysis.hear",
    "segue.render.render",
    "segue.render.compiled",
)
"""What the processes of a main job work with."""
_OF_THE_DISK: Final = {
    getattr(errno, name, errno.EIO)
    for name in ("EACCES", "EDQUOT", "ELOOP", "ENAMETOOLONG", "ENOSPC", "EPERM", "EROFS")
}
"""Faults of a disk or a name that no code of ours brings about."""
_LIBRARIES: Final = {
    **ONE_THREAD,
    # looking through all that is installed for plugins takes a while, and we want none
    "PYDANTIC_DISABLE_PLUGINS": "__all__",
}
"""Environment of the libraries that are imported later; what the user has set stays."""


def main() -> NoReturn:
    """Run the command line and end the process with its exit code."""
    try:
        run()
    except SystemExit as leaving:
        if leaving.code:
            _end_loading()
        if leaving.code == EXIT_INTERRUPTED:
            _end_interrupted()
        raise
    sys.exit(0)


def prepare_libraries() -> None:
    """Tell libraries that are not imported yet what a command wants of them."""
    for name, value in _LIBRARIES.items():
        os.environ.setdefault(name, value)


def run() -> None:
    """Run the command line and leave with its exit code as `SystemExit`."""
    prepare_libraries()
    _print_any_name()
    _heed_interruptions()
    try:
        _load_ahead(sys.argv[1:])
        from segue.cli.app import app

        app(prog_name="segue")
    except SegueError as error:
        _tell(f"segue: {error}")
        sys.exit(EXIT_BAD_INPUT)
    except KeyboardInterrupt:
        _leave_interrupted()
    except SystemExit as leaving:  # how the command line's library passes an interruption on
        if leaving.code != EXIT_INTERRUPTED:
            raise
        _leave_interrupted()
    except BrokenPipeError:
        # The reader of our output has gone, as `head` does: nothing to tell, nobody to tell it to.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_OUR_FAULT)
    except Exception as error:  # noqa: BLE001 - the boundary: whatever is left is our fault
        _leave_at_fault(error)


def _load_ahead(words: list[str]) -> None:
    """Begin to load what a command will render with, before the command line itself is loaded.

    Other processes do it, while this one reads what is asked. What is refused ends them.

    Parameters
    ----------
    words : list of str
        What was typed behind the name of the program.
    """
    from segue.workers import n_cores

    if n_cores() == 1 or not words or not {"--help", "-h"}.isdisjoint(words):
        return
    modules = DRAFT_MODULES if _DRAFT in words else JOB_MODULES
    if modules is DRAFT_MODULES or (words[0] in _MAIN_JOB and _ALONE.isdisjoint(words)):
        from segue.workers.ahead import begin_ahead

        begin_ahead(*modules)


def _end_loading() -> None:
    if "segue.workers.processes" in sys.modules:
        from segue.workers.processes import end_loading

        end_loading()


def _heed_interruptions() -> None:
    """Let other requests to end come as Ctrl-C does, and none of them be lost.

    Those that are ignored, as by nohup, stay so. What falls into a function that a C library
    called cannot be raised from there: it comes again a moment later.
    """
    for name in _ENDINGS:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, lambda *_: signal.raise_signal(signal.SIGINT))
    heed_what_is_lost(lambda *_: signal.raise_signal(signal.SIGINT))


def _print_any_name() -> None:
    """Let names be printed that the terminal, or any text at all, has no characters for."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _leave_at_fault(error: Exception) -> NoReturn:
    if isinstance(error, OSError) and error.errno in _OF_THE_DISK:
        # what is already open, as our output is, fails without its name
        name = "the output" if error.filename is None else os.fsdecode(error.filename)
        _tell(
            f"segue: {printable(name)}: cannot be used ({error.strerror}); "
            "check the name, its rights and the room on the disk."
        )
        sys.exit(EXIT_BAD_INPUT)
    _tell(
        f"segue: something went wrong inside Segue ({type(error).__name__}: {error}). {_logged()}"
    )
    sys.exit(EXIT_OUR_FAULT)


def _leave_interrupted() -> NoReturn:
    for name in ("SIGINT", *_ENDINGS):  # a second one must not break the sentence
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    _tell("segue: interrupted; no file was left half-written, so just run it again.")
    sys.exit(EXIT_INTERRUPTED)


def _end_interrupted() -> NoReturn:
    """End here and now, after what is to be done at the end.

    The interpreter ends by the signal itself, and not with our exit code, where the
    interruption fell into a text that was being executed, as dataclasses do: even though
    it was caught.
    """
    with contextlib.suppress(Exception):
        atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(Exception):
            stream.flush()
    os._exit(EXIT_INTERRUPTED)


def _tell(sentence: str) -> None:
    print(" ".join(sentence.split()), file=sys.stderr)


def _logged() -> str:
    """Keep the trace for a bug report; say where it is."""
    import platformdirs

    log = Path(platformdirs.user_log_dir("segue")) / "error.log"
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        log.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        return "Please report it."
    return f"Please report it with {log}."
