"""What to do next, as a line to copy, below what a command printed."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from segue.errors import printable

if TYPE_CHECKING:
    from pathlib import Path


def command(*words: str | Path) -> str:
    """A command of ours as it is typed, with names quoted where a shell needs it.

    Parameters
    ----------
    *words : str or Path

    Returns
    -------
    str

    Examples
    --------
    >>> command("choose", "old to new", "2")
    "segue choose 'old to new' 2"
    """
    return printable(shlex.join(["segue", *(str(word) for word in words)]))


def print_next(aim: str, *words: str | Path) -> None:
    """Print what may be done next and the command that does it.

    Parameters
    ----------
    aim : str
        Such as 'Choose one'.
    *words : str or Path
        The words of the command after `segue`.
    """
    print(f"{aim}: {command(*words)}")
