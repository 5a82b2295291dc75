"""The list of commands under its headings, in plain text.

Boxes and colours would have to load a library that takes longer than everything else
`segue --help` does; plain text is also what a narrow terminal and a screen reader do best with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

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
