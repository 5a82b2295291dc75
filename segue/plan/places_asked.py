"""Where the musician wants a song left and the next one entered, and for how many bars between.

What was written is read here, and laid on the beats that were heard.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from segue.errors import OptionError, shortened
from segue.plan.edges import SongEnd, SongStart, song_end, song_start
from segue.plan.grid import SAME_BEAT, BeatGrid, beat_grid

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts

MOST_BARS_ASKED: Final = 64  # more bars between two songs are a slip; by judgement
_SAME_S: Final = 0.03  # a place is not said to be moved by less; times are written in tenths
_MORE_S: Final = 15.0  # read before a place to leave, so that the song is known; by judgement
MOST_READ_S: Final = 300.0  # of a song, as the command line allows

_CLOCK: Final = re.compile(r"(?:(\d+):)?(\d+):(\d{1,2}(?:\.\d+)?)", re.ASCII)
_SECONDS: Final = re.compile(r"(\d+(?:\.\d+)?)\s*s", re.ASCII)
_BAR: Final = re.compile(r"bar\s*([-+]?\d{1,4})", re.ASCII)
_FIRST_NOTE: Final = re.compile(r"first note(?:\s*-\s*(\d{1,3})\s*bars?)?", re.ASCII)
_LEAVE_WAYS: Final = 'write a time such as 3:12 or 192s, "bar -8", "last chord" or end.'
_ENTER_WAYS: Final = 'write a time such as 0:08 or 8s, "bar 9" or "first note - 2 bars".'


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedPlace:
    """A place in a song, as a musician says it.

    Parameters
    ----------
    number : float
        Seconds of the file; the bar, from 1 on or from -1 back; or bars before the first note.
    text : str
        As it was written.
    """

    kind: Literal["time", "bar", "last chord", "end", "first note"]
    number: float = 0.0
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacesAsked:
    """Where to leave, where to enter and how many bars between; None leaves it to Segue.

    Parameters
    ----------
    n_bars : int or None
        Length of the bridge.
    exactly : bool
        Keep a place on the nearest beat; else it is moved to the nearest bar line.
    """

    leave: AskedPlace | None = None
    enter: AskedPlace | None = None
    n_bars: int | None = None
    exactly: bool = False


def places_asked(
    *,
    leave: str | None = None,
    enter: str | None = None,
    n_bars: int | None = None,
    exactly: bool = False,
) -> PlacesAsked:
    """What a musician wrote, read.

    Parameters
    ----------
    leave : str or None
        '3:12', '192s', 'bar -8', 'last chord' or 'end'.
    enter : str or None
        '0:08', '8s', 'bar 9' or 'first note - 2 bars'.

    Raises
    ------
    OptionError
        If a place is none, with what would be one.

    Examples
    --------
    >>> places_asked(leave="3:12").leave.number
    192.0
    """
    if n_bars is not None and not 1 <= n_bars <= MOST_BARS_ASKED:
        raise OptionError(f"--bars {n_bars} is outside 1 to {MOST_BARS_ASKED} bars: keep within.")
    if exactly and leave is None and enter is None:
        raise OptionError(
            "--exactly keeps a place where you want it: say which with --leave or --enter."
        )
    return PlacesAsked(
        leave=None if leave is None else _leave_place(leave),
        enter=None if enter is None else _enter_place(enter),
        n_bars=n_bars,
        exactly=exactly,
    )


def end_as_asked(facts: EdgeFacts, asked: PlacesAsked) -> SongEnd:
    """Where the old song is left: as asked, or else where its music is done.

    A bar from the end is left at its start; "last chord" on that chord; "end" when nothing
    sounds any more. Without heard beats a bar line is laid on the place.

    Raises
    ------
    OptionError
        If the place is not in what was read.
    """
    end, place = song_end(facts), asked.leave
    if place is None:
        return end
    done_s = end.grid.seconds_at(end.done_index)
    if not end.grid.is_heard:
        _refuse_bars(place, facts, "--leave", 'a time, "last chord" or end')
        grid = beat_grid(facts, anchor_s=_leave_s(facts, place))
        end = replace(end, grid=grid, done_index=grid.bar_line_before(grid.index_at(done_s)))
    index = _leave_index(end, place, exactly=asked.exactly)
    at_s, least = end.grid.seconds_at(index), end.first_bar_index + end.grid.metre
    if place.kind == "time" and place.number > facts.edge_end_s:
        raise OptionError(
            f"--leave '{place.text}' is after the end of '{facts.title}' at "
            f"{clock(facts.edge_end_s)}: take an earlier place, or end."
        )
    if index < least:
        raise OptionError(_too_early(facts, place, at_s))
    return replace(
        end,
        left_index=index,
        done_index=max(end.done_index, end.grid.bar_line_after(index)),
        moved=_moved_words("--leave", place, end.grid, index, _said_s(facts, place)),
    )


def start_as_asked(facts: EdgeFacts, asked: PlacesAsked) -> SongStart:
    """Where the new song is entered: as asked, or else at its bar one.

    What lies before the place is not heard, unless the song's own bar one was asked for.

    Raises
    ------
    OptionError
        If the place is not in what was read.
    """
    start, place = song_start(facts), asked.enter
    if place is None:
        return start
    at_s = place.number if place.kind == "time" else None
    if place.kind == "first note":
        at_s = _first_note_s(facts, place)
    if not start.grid.is_heard:
        _refuse_bars(place, facts, "--enter", "a time")
        start = _anchored(start, at_s or 0.0)
    index = _enter_index(start, place, at_s, exactly=asked.exactly)
    _check_enter(start, place, index)
    own = round(start.entry_index) if start.grid.is_heard else start.entry_index
    sound = index if index > own + SAME_BEAT else min(start.sound_index, index)
    note = facts.first_note
    if note is not None and start.grid.index_at(note.time_s) < sound - SAME_BEAT:
        note = None  # it was sung before the song is entered
    said_s = at_s if place.kind == "time" else None
    return replace(
        start,
        entry_index=index,
        sound_index=sound,
        facts=replace(facts, first_note=note),
        moved=_moved_words("--enter", place, start.grid, index, said_s),
        fades_in=start.fades_in and abs(index - own) < SAME_BEAT,
    )


def clock(seconds: float) -> str:
    """A time of the file as people read it.

    Examples
    --------
    >>> clock(192.04)
    '3:12.0'
    """
    tenths = round(10 * seconds)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def _words(text: str) -> str:
    return " ".join(text.replace("−", "-").lower().split())  # a typed minus sign counts


def _time_of(option: str, text: str) -> float | None:
    """Seconds, where it is a time."""
    if match := _SECONDS.fullmatch(_words(text)):
        return float(match[1])
    match = _CLOCK.fullmatch(_words(text))
    if match is None:
        return None
    hours, minutes, seconds = int(match[1] or 0), int(match[2]), float(match[3])
    if seconds >= 60 or (match[1] and minutes >= 60):  # noqa: PLR2004 - as clocks do
        raise OptionError(
            f"{option} '{shortened(text)}' is no time: minutes and seconds go up to 59, as in 3:12."
        )
    return 3600.0 * hours + 60.0 * minutes + seconds


def _leave_place(text: str) -> AskedPlace:
    words = _words(text)
    seconds = _time_of("--leave", text)
    if seconds is not None:
        return AskedPlace(kind="time", number=seconds, text=words)
    if words == "last chord":
        return AskedPlace(kind="last chord", text=words)
    if words == "end":
        return AskedPlace(kind="end", text=words)
    match = _BAR.fullmatch(words)
    if match is None:
        raise OptionError(f"--leave '{shortened(text)}' is no place to leave a song: {_LEAVE_WAYS}")
    if int(match[1]) >= 0:
        raise OptionError(
            f"--leave '{words}': bars of the old song are counted back from its last one, "
            'which is "bar -1"; write "bar -8".'
        )
    return AskedPlace(kind="bar", number=int(match[1]), text=words)


def _enter_place(text: str) -> AskedPlace:
    words = _words(text)
    seconds = _time_of("--enter", text)
    if seconds is not None:
        return AskedPlace(kind="time", number=seconds, text=words)
    if match := _FIRST_NOTE.fullmatch(words):
        return AskedPlace(kind="first note", number=int(match[1] or 0), text=words)
    match = _BAR.fullmatch(words)
    if match is None:
        raise OptionError(f"--enter '{shortened(text)}' is no place to enter a song: {_ENTER_WAYS}")
    if int(match[1]) < 1:
        raise OptionError(
            f"--enter '{words}': bars of the new song are counted from its first one, "
            'which is "bar 1"; write "bar 9".'
        )
    return AskedPlace(kind="bar", number=int(match[1]), text=words)


def _refuse_bars(place: AskedPlace, facts: EdgeFacts, option: str, instead: str) -> None:
    if place.kind == "bar":
        raise OptionError(
            f"{option} '{place.text}': no clear beats were heard at the {facts.edge} of "
            f"'{facts.title}', so its bars cannot be counted: give {instead}."
        )


def _nearest(grid: BeatGrid, index: float, *, exactly: bool) -> int:
    """The nearest beat, or the nearest bar line."""
    if exactly:
        return round(index)
    return grid.downbeat + grid.metre * round((index - grid.downbeat) / grid.metre)


def _said_s(facts: EdgeFacts, place: AskedPlace) -> float | None:
    """The time of the file that was asked for, where it was one."""
    return _leave_s(facts, place) if place.kind in ("time", "last chord") else None


def _leave_s(facts: EdgeFacts, place: AskedPlace) -> float:
    ending = facts.ending
    if ending is None or place.kind == "time":
        return place.number
    if place.kind == "end":
        return ending.sound_end_s
    if ending.last_chord_s is None:
        raise OptionError(
            f"--leave '{place.text}': no last chord was heard at the end of '{facts.title}': "
            "give a time, or end."
        )
    return ending.last_chord_s


def _leave_index(end: SongEnd, place: AskedPlace, *, exactly: bool) -> int:
    grid, ending = end.grid, end.facts.ending
    if place.kind == "bar" and ending is not None:
        line_s = ending.last_bar_line_s
        last = (
            grid.bar_line_before(grid.index_at(ending.last_hit_s))
            if line_s is None
            else _nearest(grid, grid.index_at(line_s), exactly=False)
        )
        return last + (int(place.number) + 1) * grid.metre
    index = grid.index_at(_leave_s(end.facts, place))
    if place.kind == "end" and (ending is None or ending.kind != "keeps going"):
        return math.ceil(index - SAME_BEAT) if exactly else grid.bar_line_after(index)
    return _nearest(grid, index, exactly=exactly)


def _too_early(facts: EdgeFacts, place: AskedPlace, at_s: float) -> str:
    start = f"--leave '{place.text}' of '{facts.title}' is at {clock(max(at_s, 0.0))}, "
    if facts.edge_start_s <= 0.0:
        return f"{start}less than a bar after the song begins: take a later place."
    wanted_s = math.ceil(facts.duration_s - max(at_s, 0.0) + _MORE_S)
    return (
        f"{start}and only {clock(facts.edge_start_s)} to {clock(facts.edge_end_s)} was read: "
        f"take a place a bar after that start{_read_more(wanted_s)}"
    )


def _read_more(wanted_s: int) -> str:
    if wanted_s > MOST_READ_S:
        return f"; no more than {MOST_READ_S:g} s of a song can be read."
    return f", or run 'segue between' with --edge-seconds {wanted_s}."


def _first_note_s(facts: EdgeFacts, place: AskedPlace) -> float:
    if facts.first_note is None:
        raise OptionError(
            f"--enter '{place.text}': no sung note was heard at the start of '{facts.title}': "
            "give 'segue between' the lead part with --new-lead, or enter at a time or a bar."
        )
    return facts.first_note.time_s


def _anchored(start: SongStart, at_s: float) -> SongStart:
    """A start without beats, its ruler laid on a place."""
    grid, old = beat_grid(start.facts, anchor_s=at_s), start.grid
    return replace(
        start,
        grid=grid,
        entry_index=grid.index_at(old.seconds_at(start.entry_index)),
        sound_index=grid.index_at(old.seconds_at(start.sound_index)),
    )


def _enter_index(start: SongStart, place: AskedPlace, at_s: float | None, *, exactly: bool) -> int:
    grid = start.grid
    if at_s is None:
        return grid.bar_line_after(start.entry_index) + (int(place.number) - 1) * grid.metre
    index = _nearest(grid, grid.index_at(at_s), exactly=exactly)
    return index - (int(place.number) * grid.metre if place.kind == "first note" else 0)


def _check_enter(start: SongStart, place: AskedPlace, index: int) -> None:
    """A bar of the new song must be there to be heard."""
    grid, facts = start.grid, start.facts
    at_s, bar_later_s = grid.seconds_at(index), grid.seconds_at(index + grid.metre)
    said = f"--enter '{place.text}' of '{facts.title}'"
    if at_s < facts.edge_start_s - 0.5 * facts.pulse.beat_s:
        raise OptionError(
            f"{said} is {facts.edge_start_s - at_s:.1f} s before the song begins: "
            "take a later place."
        )
    if bar_later_s <= facts.edge_end_s + SAME_BEAT:
        return
    if bar_later_s > facts.duration_s:
        raise OptionError(
            f"{said} is at {clock(at_s)}, less than a bar before the song is over: "
            "take an earlier place."
        )
    raise OptionError(
        f"{said} is at {clock(at_s)}, and only {clock(facts.edge_start_s)} to "
        f"{clock(facts.edge_end_s)} was read: take an earlier place"
        f"{_read_more(math.ceil(at_s + _MORE_S))}"
    )


def _moved_words(
    option: str, place: AskedPlace, grid: BeatGrid, index: int, said_s: float | None
) -> str:
    """A sentence where a place was moved; empty where it was not."""
    at_s = grid.seconds_at(index)
    is_line = (index - grid.downbeat) % grid.metre == 0
    if said_s is None or abs(at_s - said_s) < _SAME_S:
        return "" if is_line else f"{_said(option, place)}: kept, though it is no bar line."
    way = "later" if at_s > said_s else "earlier"
    to = "to the bar line" if is_line else "to the nearest beat, which is no bar line,"
    by = f"{_said(option, place)}: moved {abs(at_s - said_s):.2f} s {way}, {to} at {clock(at_s)}"
    return f'{by}; "exactly" keeps it on the nearest beat.' if is_line else f"{by}."


def _said(option: str, place: AskedPlace) -> str:
    """Such as 'Leave at 3:12': a page has no options."""
    return f"{option.strip('-').capitalize()} at {place.text}"
