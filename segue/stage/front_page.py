"""The page before the cue sheets of an evening: the running order."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontRow:
    """One line of the running order.

    Parameters
    ----------
    clock : str
        When it starts.
    what : str
        The song, or what happens between two songs.
    key, tempo : str
        Empty between songs.
    starts : str
        Who starts, and how.
    """

    clock: str
    what: str
    key: str = ""
    tempo: str = ""
    starts: str = ""
    is_song: bool = True

    @property
    def cells(self) -> tuple[str, ...]:
        """What stands in the columns."""
        return self.clock, self.what, self.key, self.tempo, self.starts


HEADINGS = ("clock", "song", "key", "BPM", "starts")


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontPage:
    """Everything on the page.

    Parameters
    ----------
    summary : str
        Running time against the slot.
    notes : tuple of str
        What the tempo map of the evening cannot know.
    """

    title: str
    summary: str
    rows: tuple[FrontRow, ...]
    notes: tuple[str, ...]
    care: tuple[str, ...]
