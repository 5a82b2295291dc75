"""What a band votes on in an evening: every segue that is made, in order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.audition.page import page_view
from segue.errors import RunFolderError
from segue.setlist.set_document import read_evening

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audition.page import PageView


def evening_votes(
    evening: Path, *, is_blind: bool, wants_anchor: bool = False
) -> tuple[str, tuple[tuple[Path, PageView], ...]]:
    """The evening's title, and each run folder of it with what is voted on.

    Raises
    ------
    SegueError
        If the evening cannot be read, or nothing of it is made yet.
    """
    told = read_evening(evening)
    runs = tuple(
        (folder, page_view(folder, join.document, is_blind=is_blind, wants_anchor=wants_anchor))
        for join in told.joins
        if join.document is not None
        for folder in [evening / join.folder]
    )
    if not runs:
        raise RunFolderError(evening, "has no segues to vote on yet: make them first.")
    return told.title, runs
