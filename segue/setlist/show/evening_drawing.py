"""The drawing of an evening: keys, tempo and drive over time, as shapes in pixels.

There is one drawing, laid out two ways: for wide screens and paper, and with the way through the
keys and a legend for the picture file. A template draws the shapes on the page, `evening_picture`
draws them into the file. A phone shows the set as a list, and no drawing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.music.key import parse_key
from segue.music.tempo import clock
from segue.plan.heard_words import NO_KEY

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from segue.setlist.show.rows import EveningRows, JoinRow, SongRow

Layout = Literal["broad", "file"]
Span = tuple[float, float]

_LETTER_PX: Final = 7.0
"""Mean width of a letter of the picture's type, on the safe side."""
_LINE_PX: Final = 15.0  # from line to line of small type
# Seconds between written times: the first that gives few enough
_TICKS_S: Final = (60, 120, 300, 600, 900, 1800, 3600)
_MOST_TICKS: Final = 12  # no more times are written
_MOST_ENERGY: Final = 5  # the scale of drive is 1 to 5
_LABEL_ROOM_PX: Final = 38.0
"""Room beside a line for its numbers."""
_BELOW_PX: Final = 4.0  # room below the lowest lane
_LEAST_SPANS: Final = {"tempo": 20.0, "by fifths": 6.0}
"""What a lane holds at least, in BPM and in rows: a small step shall not look like a leap."""

_BROAD: Final[Mapping[str, Span]] = {
    "clock": (0, 20), "song": (24, 56), "key": (62, 98), "tempo": (104, 214), "drive": (220, 288),
}  # fmt: skip
_FILE: Final[Mapping[str, Span]] = {
    **_BROAD, "by fifths": (104, 244), "tempo": (250, 360), "drive": (366, 434),
}  # fmt: skip
"""Where each lane begins and ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle; `look` says what it stands for."""

    look: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A straight line; `look` says what it stands for."""

    look: str
    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words, from a place at the left of their base line on."""

    x: float
    y: float
    words: str
    look: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningDrawing:
    """Everything that is drawn, the lowest shape first.

    Parameters
    ----------
    end_s : float
        Where the time axis ends.
    """

    layout: Layout
    width: float
    height: float
    end_s: float
    shapes: tuple[Box | Stroke | Label, ...]


def evening_drawing(rows: EveningRows, layout: Layout) -> EveningDrawing:
    """The drawing of an evening, in one of its layouts."""
    end_s = max([row.song.end_s for row in rows.songs] + [rows.evening.slot_s or 0.0])
    has_drive = any(row.song.energy is not None for row in rows.songs)
    axes = _axes(layout, max(end_s, 1.0), has_drive=has_drive)
    shapes = tuple(_shapes(rows, axes))
    return EveningDrawing(
        layout=layout, width=axes.width, height=axes.height, end_s=end_s, shapes=shapes
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axes:
    """Time from left to right, lanes below each other."""

    layout: Layout
    lanes: Mapping[str, Span]
    end_s: float
    from_px: float
    along_px: float
    width: float
    height: float

    def time(self, seconds: float) -> float:
        return self.from_px + self.along_px * seconds / self.end_s

    def box(self, look: str, time: Span, lane: Span) -> Box:
        x0, x1 = self.time(time[0]), self.time(time[1])
        return Box(look=look, x=x0, y=lane[0], width=x1 - x0, height=lane[1] - lane[0])

    def stroke(self, look: str, a: Span, b: Span) -> Stroke:
        """From one place to another, each as x and y."""
        return Stroke(look=look, x0=a[0], y0=a[1], x1=b[0], y1=b[1])


def _axes(layout: Layout, end_s: float, *, has_drive: bool) -> _Axes:
    """Without a lane for drive where nobody said any: what is always empty tells nothing."""
    all_lanes = _BROAD if layout == "broad" else _FILE
    lanes = {name: lane for name, lane in all_lanes.items() if name != "drive" or has_drive}
    height = max(bottom for _, bottom in lanes.values()) + _BELOW_PX
    return _Axes(
        layout=layout, lanes=lanes, end_s=end_s, from_px=64, along_px=968, width=1040, height=height
    )


def _shapes(rows: EveningRows, axes: _Axes) -> Iterator[Box | Stroke | Label]:
    for name in ("by fifths", "tempo", "drive"):
        if name in axes.lanes:
            yield axes.box("lane", (0, axes.end_s), axes.lanes[name])
    yield from _captions(axes)
    yield from _clock(axes)
    for gap in rows.joins:
        if look := gap_look(gap):
            yield axes.box(look, (gap.join.start_s, gap.join.end_s), axes.lanes["song"])
    for row in rows.songs:
        yield from _song(row, axes)
    if "by fifths" in axes.lanes:
        yield from _curve("by fifths", [half for row in rows.songs for half in _halves(row)], axes)
    yield from _curve("tempo", [_tempo_part(row) for row in rows.songs], axes)
    if rows.evening.slot_s is not None:
        place = axes.time(rows.evening.slot_s)
        yield axes.stroke("slot", (place, axes.lanes["song"][0]), (place, axes.height - _BELOW_PX))


def gap_look(row: JoinRow) -> str:
    """'join' for a way across, 'free' for talk, a changeover or a stop, '' for no time at all."""
    if row.join.end_s <= row.join.start_s:
        return ""
    return "free" if row.record is None else "join"


def _captions(axes: _Axes) -> Iterator[Label]:
    for name, (start, end) in axes.lanes.items():
        yield Label(x=0.0, y=(start + end) / 2 + 4, words=name, look="soft")


def _clock(axes: _Axes) -> Iterator[Label]:
    step = next((s for s in _TICKS_S if axes.end_s / s <= _MOST_TICKS), _TICKS_S[-1])
    for tick in range(0, int(axes.end_s) + 1, step):
        place, words = axes.time(tick), clock(tick)
        if place + len(words) * _LETTER_PX < axes.width:
            yield Label(x=place, y=axes.lanes["clock"][0] + 14, words=words, look="soft")


def _song(row: SongRow, axes: _Axes) -> Iterator[Box | Label]:
    song = row.song
    span = song.start_s, song.end_s
    yield axes.box("song", span, axes.lanes["song"])
    start, room = axes.time(song.start_s), axes.time(song.end_s) - axes.time(song.start_s)
    keys = [row.keys[0], *(f"→ {key}" for key in row.keys[1:])] if row.keys else []
    first, key_lane = axes.lanes["song"][0], axes.lanes["key"][0]
    title = _fitting(f"{song.number} {song.title}", room - 4, f"{song.number}")
    labels = [(start + 4, first + 21, title)]
    labels += [
        (start + 2, key_lane + 14 + n * _LINE_PX, _fitting(key, room, _short(key)))
        for n, key in enumerate(keys)
    ]
    yield from (Label(x=x, y=y, words=words) for x, y, words in labels if words)
    if song.energy is not None:
        low, high = axes.lanes["drive"]
        length = (high - low) * song.energy / _MOST_ENERGY
        yield axes.box("energy", span, (high - length, high))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A stretch of a curve; a value is None where there is none."""

    span: Span
    values: tuple[float | None, float | None]
    words: str = ""


def _tempo_part(row: SongRow) -> _Part:
    known = row.start_bpm or row.end_bpm
    return _Part(
        span=(row.song.start_s, row.song.end_s),
        values=(row.start_bpm, row.end_bpm),
        words=f"{known:.0f}" if known else "",
    )


def _halves(row: SongRow) -> Iterator[_Part]:
    """The key at its start and at its end, each for half of a song."""
    start_s, end_s = row.song.start_s, row.song.end_s
    spans = (start_s, (start_s + end_s) / 2), ((start_s + end_s) / 2, end_s)
    for span, name in zip(spans, (*row.keys[:1], *row.keys[-1:]), strict=False):
        place = None if name == NO_KEY else _fifths(name)
        yield _Part(span=span, values=(place, place))


def _fifths(name: str) -> float:
    """Row of a key: keys a fifth apart are neighbours, a minor key is beside its relative major."""
    key = parse_key(name)
    return (key.relative_major_tonic * 7 + 5) % 12 + 0.5 * (key.mode == "minor")


def _curve(lane: str, parts: Sequence[_Part], axes: _Axes) -> Iterator[Stroke | Label]:
    values = [v for part in parts for v in part.values if v is not None] or [0.0]
    middle, half = (max(values) + min(values)) / 2, (max(values) - min(values)) / 2
    half = max(half, _LEAST_SPANS[lane] / 2)
    start, end = axes.lanes[lane]

    def place(seconds: float, value: float) -> Span:
        along = (value - middle + half) / (2 * half) * (end - start - _LABEL_ROOM_PX)
        return axes.time(seconds), end - 8 - along

    last: Span | None = None
    for part in parts:
        first, final = part.values
        known = final if first is None else first
        if known is None:
            last = None
            continue
        # where only one end has a value, the line ends half way
        middle_s = sum(part.span) / 2
        a = place(middle_s if first is None else part.span[0], known)
        b = place(middle_s if final is None else part.span[1], known if final is None else final)
        if last is not None and first is not None:
            yield axes.stroke("tempo moves", last, a)
        yield axes.stroke("tempo", a, b)
        last = None if final is None else b
        if part.words:
            yield Label(x=a[0] + 2, y=a[1] - 5, words=part.words)


def _fitting(words: str, room_px: float, short: str) -> str:
    """The words as far as they fit, or a short form, or nothing."""
    if len(words) * _LETTER_PX <= room_px:
        return words
    if len(short) * _LETTER_PX > room_px:
        return ""
    n_letters = int(room_px / _LETTER_PX) - 1
    return words[:n_letters].rstrip() + "…" if n_letters > len(short) + 4 else short


def _short(key: str) -> str:
    """A key as over a chart: 'F#m'."""
    return key.replace(NO_KEY, "none").replace(" minor", "m").replace(" major", "")
