"""Where errors become one sentence and an exit code.

0 all went well, 1 our fault, 2 bad use or bad input, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path

from segue.errors import SegueError

EXIT_OUR_FAULT = 1
EXIT_BAD_INPUT = 2
EXIT_INTERRUPTED = 130


def main() -> None:
    """Run the command line and leave with its exit code."""
    from segue.cli.app import app

    try:
        app()
    except SegueError as error:
        _tell(f"segue: {error}")
        sys.exit(EXIT_BAD_INPUT)
    except KeyboardInterrupt:
        _tell("segue: interrupted; nothing was written.")
        sys.exit(EXIT_INTERRUPTED)
    except BrokenPipeError:
        # The reader of our output has gone, as `head` does: nothing to tell, nobody to tell it to.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_OUR_FAULT)
    except Exception as error:  # noqa: BLE001 - the boundary: whatever is left is our fault
        _tell(
            f"segue: something went wrong inside Segue ({type(error).__name__}: {error}). "
            f"{_logged()}"
        )
        sys.exit(EXIT_OUR_FAULT)


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
