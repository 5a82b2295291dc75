"""``segue desk``: the whole job on one page of this machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from segue.cli.audition import HIGHEST_PORT, LOWEST_PORT, SERVER_PARTS
from segue.cli.options import NoHints, NoOpen
from segue.errors import OptionError

_MOST_MAKERS = 3
"""Processes that make a run: one for each of its options."""


def desk(
    folder: Annotated[
        Path, typer.Argument(help="Your songs; what is made lies there, too.")
    ] = Path(),
    port: Annotated[int | None, typer.Option(help="The port.")] = None,
    no_open: NoOpen = False,
    quiet: NoHints = False,
) -> None:
    """Open one page on which the whole job is done, by ear and by hand."""
    if port is not None and not LOWEST_PORT <= port <= HIGHEST_PORT:
        raise OptionError(f"--port {port} is outside {LOWEST_PORT} to {HIGHEST_PORT}: keep within.")
    from segue.cli.recipes import own_recipes_folder
    from segue.cli.weights_file import read_weights, weights_path
    from segue.workers import n_cores

    try:
        from segue.desk.desk_server import serve_desk
        from segue.desk.house import HouseRules
    except ModuleNotFoundError as error:
        raise OptionError(
            f"the desk needs {error.name}, which is not installed: pip install {SERVER_PARTS}."
        ) from error

    def announce(url: str) -> None:
        from segue.pages import TURN_DOWN

        print(f"The desk: {url}", flush=True)
        if not quiet:
            print(TURN_DOWN, flush=True)
            print("Only this machine can open it. Control-C stops it.", flush=True)
        if not no_open:
            import webbrowser

            webbrowser.open(url)

    rules = HouseRules(
        own_recipes=own_recipes_folder(),
        own_weights=read_weights(weights_path()),
        n_workers=max(2, min(n_cores(), _MOST_MAKERS)),
    )
    try:
        serve_desk(folder, port=port, rules=rules, announce=announce)
    except KeyboardInterrupt:
        print("Stopped. Everything that was shown as kept is in the folder.", flush=True)
