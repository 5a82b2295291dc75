"""What to do next, as a line to copy, below what a command printed.

Sentences below a table, each with its sign, wrapped lines below the first word.
"""

from __future__ import annotations

import shlex
import textwrap
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

from segue.errors import printable

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from rich.console import Console

_NARROWEST: Final = 20  # columns of text, however narrow the terminal


def print_sentence(console: Console, left: str, sentence: str) -> None:
    """Print a sentence with a hanging indent.

    Parameters
    ----------
    console : Console
        Its width is kept to.
    left : str
        What stands before the first line, such as '  ! '; as much room is left before the others.
    """
    width = max(console.width - len(left), _NARROWEST)
    # options such as --new-key stay whole, to be copied
    lines = textwrap.wrap(sentence, width, break_on_hyphens=False)
    told = left + ("\n" + " " * len(left)).join(lines)
    console.print(told, markup=False, highlight=False, soft_wrap=True)


_AT_HAND: Final[ContextVar[frozenset[str]]] = ContextVar("options at hand", default=frozenset())


def note_command(options: Iterable[str]) -> None:
    """Note the options of the command that is about to run, for `has_option`."""
    _AT_HAND.set(frozenset(options))


def has_option(name: str) -> bool:
    """Whether the command at hand has an option.

    A hint names only what can be typed behind the command that gives it.
    """
    return name in _AT_HAND.get()


def command(*words: str | Path) -> str:
    """A command of ours as it is typed, with names quoted where a shell needs it.

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
