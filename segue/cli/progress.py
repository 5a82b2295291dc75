"""The progress bar, on the error stream so that output stays clean."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


@contextmanager
def progress_bar(n_steps: int, *, quiet: bool) -> Iterator[Callable[[str], None]]:
    """A function to call with a few words at the start of each step.

    Parameters
    ----------
    n_steps : int
        How many steps there will be.
    quiet : bool
        Show nothing.
    """
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
