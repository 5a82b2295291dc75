"""What a command says besides its results: help, hints below them, progress.

Help is the list of commands under its headings, with an example below each, in plain text: boxes
and colours would have to load a library that takes longer than everything else `segue --help` does;
plain text is also what a narrow terminal and a screen reader do best with.
"""

from __future__ import annotations

import shlex
import textwrap
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

from typer.core import TyperGroup

from segue.errors import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from rich.console import Console, OverflowMethod
    from rich.table import Table


if TYPE_CHECKING:
    from typer._click import Context, HelpFormatter
    from typing_extensions import override
else:

    def override(method: object) -> object:
        """Mark for the type checker only."""
        return method


LONGEST_HELP = 120
"""Characters; sentences wrap, they are not cut."""


class HeadedGroup(TyperGroup):
    """Commands under the headings that they were given as panels."""

    @override
    def format_commands(self, ctx: Context, formatter: HelpFormatter) -> None:
        """Write all commands, each with its first sentence, in the order of the headings."""
        under: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is None or command.hidden:
                continue
            heading = getattr(command, "rich_help_panel", None)
            heading = heading if isinstance(heading, str) else "Commands"
            told = (name, command.get_short_help_str(limit=LONGEST_HELP))
            under.setdefault(heading, []).append(told)
        for heading, rows in under.items():
            with formatter.section(heading):
                formatter.write_dl(rows)


START: Final = """\
Segue: from the end of one song to the start of the next.

Hear the demo first; it takes a few minutes:
  segue demo
Then two songs of your own:
  segue between OLD_SONG NEW_SONG --out DIR
Or do the whole job on one page, by ear and by hand:
  segue desk FOLDER
Everything else:
  segue --help"""
"""What `segue` says where nothing is asked of it."""

EXAMPLES: Final[dict[str, str]] = {
    "between": "segue between demo_audio/01* demo_audio/02* --out run",
    "demo": "segue demo",
    "analyse": "segue analyse demo_audio/02*",
    "desk": "segue desk demo_audio",
    "set": "segue set demo_audio/evening.toml --out night",
    "audition": "segue audition segue-demo",
    "choose": "segue choose segue-demo 2",
    "change": "segue change segue-demo 1 --bars 8",
    "undo": "segue undo segue-demo",
    "redo": "segue redo segue-demo",
    "explain": "segue explain segue-demo 2",
    "taste": "segue taste segue-demo",
    "stage": "segue stage segue-demo --out pack",
    "review": "segue review segue-demo pack/music.wav",
    "catalogue": "segue catalogue demo_audio",
    "neighbours": 'segue neighbours "Low Tide Telegraph"',
    "path": 'segue path "E minor" "F minor" --chords 8',
    "recipes": "segue recipes",
    "recipes show": 'segue recipes show "tempo ramp"',
    "recipes check": "segue recipes check recipes/build.toml",
    "recipes schema": "segue recipes schema",
    "cache": "segue cache",
}
"""By the command's words. They are typed in the folder of the README, the demo before others."""


def example_of(name: str) -> str:
    """The last line of a command's help."""
    return f"Example: {EXAMPLES[name]}"


_NARROWEST: Final = 20  # columns of text, however narrow the terminal


def plain_table(*headings: str, overflow: OverflowMethod = "ellipsis") -> Table:
    """A table without lines, and with these columns."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        table.add_column(heading, overflow=overflow)
    return table


def print_sentence(console: Console, left: str, sentence: str) -> None:
    """Print a sentence with a hanging indent.

    Parameters
    ----------
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


@contextmanager
def progress_bar(n_steps: int, *, quiet: bool) -> Iterator[Callable[[str], None]]:
    """A function to call with a few words at the start of each step."""
    if quiet:
        yield lambda _words: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        BarColumn(bar_width=28),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=n_steps)
        done = 0

        def tell(words: str) -> None:
            nonlocal done
            bar.update(task, completed=done, description=words)
            done += 1

        yield tell
