"""Cue sheets of an evening: the running order before them, and each as one of many.

A sheet says where in the evening it belongs, who sings, and what happens in the break.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.plan.grid import SAME_BEAT
from segue.stage.cue_sheet import SINGER, CueRow, CueSheet, cue_row

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.plan import Plan

_SAME_S: Final = 0.05  # talk that differs by less is the same, for rounding to beats


@dataclass(frozen=True, slots=True, kw_only=True)
class InEvening:
    """What an evening knows of one of its joins.

    Parameters
    ----------
    words : str
        Number of the join, and where in the evening it starts.
    singer : str or None
        Who sings the new song.
    talk_s, changeover_s : float
        What the band wants between the songs, in this order, from the old song's last bar on.
    held : tuple of (str, float)
        Name and seconds of what the music does not cover: the files wait for it.
    hold_beat : float
        Beat of the plan at which they do.
    """

    words: str
    singer: str | None = None
    talk_s: float = 0.0
    changeover_s: float = 0.0
    held: tuple[tuple[str, float], ...] = ()
    hold_beat: float = 0.0


def evening_sheet(sheet: CueSheet, plan: Plan, where: InEvening) -> CueSheet:
    """The sheet of a join with what its evening knows of it.

    Parameters
    ----------
    sheet : CueSheet
        Of the plan; it must say nothing of talk, of which a plan knows only the sum with the
        changeover.
    """
    singer = where.singer or sheet.singer
    rows = [replace(row, who=singer) if row.who == SINGER else row for row in sheet.rows]
    rows = sorted([*rows, *_breaks(plan, where)], key=lambda row: row.time_s)
    hold = _hold(plan, where, has_files=sheet.channels is not None)
    if hold is not None:
        here = next(n for n, row in enumerate(rows) if row.time_s >= hold.time_s)
        rows.insert(
            here + (where.hold_beat <= plan.exit_beat), hold
        )  # not before the old song ends
    return replace(sheet, rows=tuple(rows), singer=singer, place=where.words)


def _breaks(plan: Plan, where: InEvening) -> Iterator[CueRow]:
    held_talk_s = dict(where.held).get("talk", 0.0)
    if where.talk_s > held_talk_s + _SAME_S:  # or else the row of the wait says it
        yield cue_row(plan, plan.exit_beat, SINGER, f"talk, {where.talk_s:.0f} s")
    if where.changeover_s:
        talk_end_s = plan.tempo.seconds_at(plan.exit_beat) + where.talk_s
        beat = round(plan.tempo.beat_at(talk_end_s))
        # Where no music is left it begins while the files wait; the row of the wait says so.
        if not where.held or beat < where.hold_beat - SAME_BEAT:
            words = f"changeover, {where.changeover_s:.0f} s"
            yield cue_row(plan, max(beat, plan.exit_beat), "band", words)


def _hold(plan: Plan, where: InEvening, *, has_files: bool) -> CueRow | None:
    seconds = sum(held_s for _, held_s in where.held)
    if not seconds:
        return None
    parts = ", then ".join(f"{name}, {held_s:.0f} s" for name, held_s in where.held)
    does = "fade out and hold the files here" if has_files else "fade out and wait here"
    words = f"{does} {seconds:.0f} s, no music: {parts}"
    return cue_row(plan, where.hold_beat, "all", words)


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontRow:
    """One line of the running order.

    Parameters
    ----------
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
