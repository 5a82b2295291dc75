"""The list of commands under its headings, and an example below each help, in plain text.

Boxes and colours would have to load a library that takes longer than everything else
`segue --help` does; plain text is also what a narrow terminal and a screen reader do best with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from typer.core import TyperGroup

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
