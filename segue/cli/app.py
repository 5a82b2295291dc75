"""The commands. Each imports its stage inside, so that ``--help`` stays quick."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

import typer

from segue.cli.audition import audition, choose, desk
from segue.cli.between import between, demo
from segue.cli.change import change, redo, undo
from segue.cli.explain import explain
from segue.cli.hints import START, HeadedGroup, example_of, note_command
from segue.cli.path import path
from segue.cli.recipes import recipes as recipes_group
from segue.cli.review import review
from segue.cli.set import set_
from segue.cli.songs import analyse, cache, catalogue, neighbours
from segue.cli.stage import stage
from segue.cli.taste import taste

if TYPE_CHECKING:
    from collections.abc import Callable


app = typer.Typer(
    name="segue",
    help="From the end of one song to the start of the next: three segues; pick one by ear.",
    cls=HeadedGroup,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SONGS, BAND, STAGE, MANY, RECIPES = (
    "From song to song",
    "The band decides",
    "To the stage",
    "Many songs",
    "Chords, recipes, housekeeping",
)
"""Headings in the list of commands."""


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from segue import __version__

        print(f"segue {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(START)
        raise typer.Exit
    note_command(_options_of(context, context.invoked_subcommand))


def _options_of(context: typer.Context, name: str) -> list[str]:
    """What can be typed behind a command."""
    group = context.command
    one = group.get_command(context, name) if isinstance(group, HeadedGroup) else None
    return [] if one is None else [option for p in one.params for option in p.opts]


_COMMANDS: Final[dict[str, dict[str, Callable[..., None]]]] = {
    SONGS: {"between": between, "demo": demo, "analyse": analyse, "desk": desk, "set": set_},
    BAND: {
        "audition": audition,
        "choose": choose,
        "change": change,
        "undo": undo,
        "redo": redo,
        "explain": explain,
        "taste": taste,
    },
    STAGE: {"stage": stage, "review": review},
    MANY: {"catalogue": catalogue, "neighbours": neighbours},
    RECIPES: {"path": path, "cache": cache},
}
"""All commands but the root and those of a group, under their headings."""
for _heading, _group in _COMMANDS.items():
    for _name, _command in _group.items():
        app.command(_name, rich_help_panel=_heading, epilog=example_of(_name))(_command)
app.add_typer(recipes_group, rich_help_panel=RECIPES)
