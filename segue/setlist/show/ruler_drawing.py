"""The evening as a picture of keys, tempo, energy and time: along, or down for phones."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.plan.heard_words import NO_KEY
from segue.setlist.lengths import clock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from segue.setlist.show.rows import SongRow

_LETTER_PX: Final = 7.0
"""Mean width of a letter of the picture's type, on the safe side."""
_TICKS_S: Final = (60, 120, 300, 600, 900, 1800, 3600)
_MOST_TICKS: Final = 12
_MOST_ENERGY: Final = 5
_LINE_PX: Final = 15.0
_TEMPO_ROOM_PX: Final = 38.0
"""Room beside the tempo line for its numbers."""
_LEAST_TEMPO_SPAN_BPM: Final = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureGap:
    """What is between two songs.

    Parameters
    ----------
    is_free : bool
        Whether it is talk or a changeover, and no way across.
    """

    start_s: float
    end_s: float
    is_free: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """Everything that is drawn.

    Parameters
    ----------
    slot_s : float or None
        How long the band may play.
    """

    songs: tuple[SongRow, ...]
    gaps: tuple[PictureGap, ...]
    slot_s: float | None = None

    @property
    def end_s(self) -> float:
        """Where the time axis ends."""
        return max([song.end_s for song in self.songs] + [self.slot_s or 0.0])

    @property
    def words(self) -> str:
        """The picture for those who do not see it."""
        songs = ", ".join(f"{song.title} {_keys_aloud(song)}" for song in self.songs)
        return f"Picture of the evening, {clock(self.end_s)} long: {songs}."


def _keys_aloud(song: SongRow) -> str:
    if song.keys == (NO_KEY,):
        return "without a key that was heard"
    return f"in {' to '.join(song.keys) or 'an unknown key'}"


def picture_svg(picture: Picture, *, is_tall: bool) -> str:
    """The picture as an `svg` element that takes its colours from the page.

    Parameters
    ----------
    is_tall : bool
        Whether time runs down, for narrow screens.

    Returns
    -------
    str
        With every text escaped.
    """
    axes = _Tall(picture) if is_tall else _Broad(picture)
    look = "tall" if is_tall else "broad"
    return (
        f'<svg class="picture {look}" viewBox="0 0 {axes.width:g} {axes.height:g}" role="img"'
        f' aria-label="{html.escape(picture.words)}">{"".join(_parts(picture, axes))}</svg>'
    )


class _Axes:
    """Time along one side, lanes along the other; places in pixels."""

    along_px, from_px = 0.0, 0.0
    lanes: dict[str, tuple[float, float]]
    is_tall = False

    def __init__(self, picture: Picture) -> None:
        self.end_s = max(picture.end_s, 1.0)
        tempos = [
            bpm for song in picture.songs for bpm in (song.start_bpm, song.end_bpm) if bpm
        ] or [120.0]
        middle, span = (max(tempos) + min(tempos)) / 2, max(tempos) - min(tempos)
        half = max(span, _LEAST_TEMPO_SPAN_BPM) / 2
        self.tempos = middle - half, middle + half

    def time(self, seconds: float) -> float:
        return self.from_px + self.along_px * seconds / self.end_s

    def tempo(self, bpm: float) -> float:
        """Place across the tempo lane, with room for the numbers."""
        start, end = self.lanes["tempo"]
        low, high = self.tempos
        share = (bpm - low) / (high - low)
        return (
            start + 8 + share * (end - start - _TEMPO_ROOM_PX)
            if self.is_tall
            else (end - 8 - share * (end - start - _TEMPO_ROOM_PX))
        )

    def rect(self, look: str, time: tuple[float, float], lane: tuple[float, float]) -> str:
        a, b = self.time(time[0]), self.time(time[1])
        x, y, w, h = (
            (lane[0], a, lane[1] - lane[0], b - a)
            if self.is_tall
            else (a, lane[0], b - a, lane[1] - lane[0])
        )
        return f'<rect class="{look}" x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}"/>'

    def line(self, look: str, a: tuple[float, float], b: tuple[float, float]) -> str:
        """From one place to another, each as time in pixels and place across."""
        (x0, y0), (x1, y1) = (a[::-1], b[::-1]) if self.is_tall else (a, b)
        return f'<line class="{look}" x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}"/>'


class _Broad(_Axes):
    width, height = 1040.0, 292.0
    from_px, along_px = 64.0, 968.0
    lanes: dict[str, tuple[float, float]] = {  # noqa: RUF012 - a table that nothing changes
        "clock": (0, 20),
        "song": (24, 56),
        "key": (62, 98),
        "tempo": (104, 214),
        "energy": (220, 288),
    }


class _Tall(_Axes):
    width = 340.0
    from_px, is_tall = 22.0, True
    lanes: dict[str, tuple[float, float]] = {  # noqa: RUF012 - a table that nothing changes
        "clock": (0, 40),
        "song": (44, 82),
        "key": (86, 170),
        "tempo": (174, 280),
        "energy": (284, 338),
    }

    def __init__(self, picture: Picture) -> None:
        super().__init__(picture)
        shortest = min((s.end_s - s.start_s for s in picture.songs), default=60.0)
        # Two lines of type for the shortest song, within reason.
        self.along_px = min(max(self.end_s * 2.2 * _LINE_PX / max(shortest, 1.0), 240.0), 1600.0)
        self.height = self.along_px + 30


def _parts(picture: Picture, axes: _Broad | _Tall) -> Iterator[str]:
    yield from (
        axes.rect("lane", (0, axes.end_s), axes.lanes[name]) for name in ("tempo", "energy")
    )
    yield from _captions(axes)
    yield from _clock(axes)
    for gap in picture.gaps:
        yield axes.rect(
            "free" if gap.is_free else "join", (gap.start_s, gap.end_s), axes.lanes["song"]
        )
    for song in picture.songs:
        yield from _song(song, axes)
    yield from _tempos(picture.songs, axes)
    if picture.slot_s is not None:
        place = axes.time(picture.slot_s)
        yield axes.line("slot", (place, axes.lanes["song"][0]), (place, axes.lanes["energy"][1]))


def _captions(axes: _Broad | _Tall) -> Iterator[str]:
    for name, (start, end) in axes.lanes.items():
        if axes.is_tall:
            yield _text(start, 12, name, look="soft")
        else:
            yield _text(0, (start + end) / 2 + 4, name, look="soft")


def _clock(axes: _Broad | _Tall) -> Iterator[str]:
    step = next((s for s in _TICKS_S if axes.end_s / s <= _MOST_TICKS), _TICKS_S[-1])
    for tick in range(0, int(axes.end_s) + 1, step):
        place, words = axes.time(tick), clock(tick)
        if axes.is_tall:
            yield _text(0, place + 4, words, look="soft")
        elif place + len(words) * _LETTER_PX < axes.width:
            yield _text(place, 14, words, look="soft")


def _song(song: SongRow, axes: _Broad | _Tall) -> Iterator[str]:
    span = song.start_s, song.end_s
    yield axes.rect("song", span, axes.lanes["song"])
    start, room = axes.time(song.start_s), axes.time(song.end_s) - axes.time(song.start_s)
    keys = [song.keys[0], *(f"→ {key}" for key in song.keys[1:])] if song.keys else []
    if axes.is_tall:
        yield _text(axes.lanes["song"][0] + 4, start + 13, f"{song.number}")
        for n, key in enumerate(keys[: max(int(room // _LINE_PX), 1)]):
            yield _text(axes.lanes["key"][0], start + 13 + n * _LINE_PX, key)
    else:
        yield _text(
            start + 4, 45, _fitting(f"{song.number} {song.title}", room - 4, f"{song.number}")
        )
        for n, key in enumerate(keys):
            yield _text(start + 2, 76 + n * _LINE_PX, _fitting(key, room, _short(key)))
    if song.energy is not None:
        low, high = axes.lanes["energy"]
        length = (high - low) * song.energy / _MOST_ENERGY
        yield axes.rect(
            "energy", span, (low, low + length) if axes.is_tall else (high - length, high)
        )


def _tempos(songs: Sequence[SongRow], axes: _Broad | _Tall) -> Iterator[str]:
    last: tuple[float, float] | None = None
    for song in songs:
        known = song.start_bpm or song.end_bpm
        if known is None:
            last = None
            continue
        # where only one edge has a pulse, the line ends half way
        middle_s = (song.start_s + song.end_s) / 2
        start_s = middle_s if song.start_bpm is None else song.start_s
        end_s = middle_s if song.end_bpm is None else song.end_s
        a = axes.time(start_s), axes.tempo(song.start_bpm or known)
        b = axes.time(end_s), axes.tempo(song.end_bpm or known)
        if last is not None and song.start_bpm is not None:
            yield axes.line("tempo moves", last, a)
        yield axes.line("tempo", a, b)
        last = None if song.end_bpm is None else b
        words = f"{song.start_bpm or known:.0f}"
        yield (
            _text(a[1] + 4, a[0] + 13, words) if axes.is_tall else _text(a[0] + 2, a[1] - 5, words)
        )


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


def _text(x: float, y: float, words: str, *, look: str = "") -> str:
    kind = f' class="{look}"' if look else ""
    return f'<text{kind} x="{x:.1f}" y="{y:.1f}">{html.escape(words)}</text>' if words else ""
