"""Sentences below a table, each with its sign, wrapped lines below the first word."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.console import Console

_NARROWEST: Final = 20


def print_sentence(console: Console, left: str, sentence: str) -> None:
    """Print a sentence with a hanging indent.

    Parameters
    ----------
    console : Console
        Its width is kept to.
    left : str
        What stands before the first line, such as '  ! '; as much room is left before the others.
    sentence : str
    """
    width = max(console.width - len(left), _NARROWEST)
    # options such as --key-b stay whole, to be copied
    lines = textwrap.wrap(sentence, width, break_on_hyphens=False)
    told = left + ("\n" + " " * len(left)).join(lines)
    console.print(told, markup=False, highlight=False, soft_wrap=True)
