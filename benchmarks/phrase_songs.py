"""Real ends and starts of pop songs, rendered, with where their groups of four bars start.

People have written down the phrases of these songs [D20]_: bars are counted in fours from the
start of each, and what is left over of one (the ninth bar of nine) has no place. All are in common
time.

Half of the bands mark their groups, as bands do (common practice, no source): fills before a
group and cymbals on it, players who rest or come back with one. The others play by the clock
of the song's first bar, and rest where they like: there notes alone tell of groups.

References
----------
.. [D20] S. Dai, H. Zhang and R. B. Dannenberg, "Automatic analysis and influence of hierarchical
   structure on melody, rhythm and harmony in popular music", CSMC + MuMe 2020; phrases of the
   songs of POP909, such as ``i4A8B8x4``: letters with numbers of bars, capitals where somebody
   sings.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from benchmarks._song_players import Players, drawn_players
from benchmarks._song_sketch import NO_CHORD, Sketch, pop_sketch
from benchmarks.rendered_songs import (
    EDGE_S,
    FADE_SHAPES,
    Cut,
    Sources,
    arranged,
    pop_songs,
    sounded,
    varied,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from benchmarks._draft import Edge

GROUP_BARS: Final = 4
MARKING_SHARE: Final = 0.5
WITH_GROUP_SHARE: Final = 0.8
"""Of the rests of a band that marks its groups, so many begin with one."""
KINDS: Final = {"cut": 0.25, "stop": 0.4, "fade": 0.35}
COMMON_BEATS: Final = 4
MOST_SHIFT: Final = 4
UPBEAT_BARS: Final = 0.25

Floats = np.ndarray[Any, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupedSong:
    """A song and, for each of its bar lines, its place in a group; -1 where it is not clear."""

    sketch: Sketch
    places: tuple[int, ...]


def labelled(folder: Path, phrases: str) -> GroupedSong | None:
    """A pop song by the phrases that people heard; None where they do not fit the melody.

    Bars are four beats, counted as the labels are: from the first chord on.
    """
    beats_s = np.loadtxt(folder / "beat_midi.txt")[:, 0]
    rows = [line.split() for line in (folder / "chord_midi.txt").read_text().splitlines()]
    first_s = next(float(row[0]) for row in rows if not row[2].startswith(NO_CHORD))
    bar, beat = divmod(int(np.argmin(np.abs(beats_s - first_s))), COMMON_BEATS)
    sketch = pop_sketch(folder, tuple(range(beat, len(beats_s), COMMON_BEATS)))
    parts = [(name.isupper(), int(bars)) for name, bars in re.findall(r"([A-Za-z])(\d+)", phrases)]
    if sketch is None or _best_shift(sketch, parts, bar) != 0:
        return None
    places = np.full(sketch.n_bars + 1, -1)
    written = phrase_places(phrases)[: max(len(places) - bar, 0)]
    places[bar : bar + len(written)] = written
    return GroupedSong(sketch=sketch, places=tuple(int(place) for place in places))


def phrase_places(phrases: str) -> Floats:
    """The place of each bar of phrases such as ``i4A8B9``; -1 for what is left over of one."""
    places: list[int] = []
    for n_bars in (int(bars) for bars in re.findall(r"[A-Za-z](\d+)", phrases)):
        left_over = n_bars % GROUP_BARS
        whole = n_bars - left_over if n_bars > GROUP_BARS > 1 + left_over else n_bars
        places += [bar % GROUP_BARS if bar < whole else -1 for bar in range(n_bars)]
    return np.array(places)


def _best_shift(sketch: Sketch, parts: Sequence[tuple[bool, int]], first: int) -> int:
    """How many bars later than said the labels' first bar is, by the phrases that are sung."""
    starts = np.array(sketch.bars)
    places = np.interp([t.start for t in sketch.melody], starts, np.arange(len(starts)))
    bars = np.floor(places + UPBEAT_BARS).astype(int)
    tones = np.bincount(bars, minlength=sketch.n_bars + 1)
    active = np.pad(np.minimum(tones, COMMON_BEATS) / COMMON_BEATS, MOST_SHIFT)
    sung = np.concatenate([np.full(n_bars, 2.0 * is_sung) for is_sung, n_bars in parts])
    fits = {}
    for shift in range(-MOST_SHIFT, MOST_SHIFT + 1):
        inside = active[max(MOST_SHIFT + first + shift, 0) :][: len(sung)]
        fits[shift] = float(inside @ sung[: len(inside)])
    return max(fits, key=lambda shift: (fits[shift], -abs(shift)))


def grouped_songs(
    splits: Sequence[str], sources: Sources, phrases: dict[str, str]
) -> Iterator[tuple[str, GroupedSong]]:
    """The pop songs of some splits with labels, each with its split."""
    for split in splits:
        for folder in pop_songs(sources.pop, split) if sources.pop else ():
            song = labelled(folder, phrases[folder.name]) if folder.name in phrases else None
            if song:
                yield split, song


def rendered_edge(
    song: GroupedSong, edge: Edge, number: int, sources: Sources
) -> tuple[np.ndarray, dict[str, Any]] | None:
    """Sound and truth of a real end or start; None where its groups are not clear.

    The truth has, besides the usual, `lines_s`, the bar lines as they are written, and `places`,
    the place of each in a group. An odd number has a band that marks its groups.
    """
    seed = [37, number, edge == "end", *song.sketch.name.encode()]
    rng = np.random.default_rng(seed)
    sketch = varied(song.sketch, rng)
    cut = _outer_cut(sketch, edge, rng)
    line = cut.bars[0] + GROUP_BARS if edge == "start" else cut.bars[1] - GROUP_BARS
    if song.places[line] < 0 or cut.bars[1] - cut.bars[0] < 2 * GROUP_BARS:
        return None
    players = drawn_players(sketch, rng, drums=None)
    marks = number % 2 == 1
    if marks:
        sketch, players = _marking(sketch, song, cut, players, rng)
    sound, truth = sounded(arranged(sketch, cut, players, rng), sources, rng)
    lines_s = truth["written_beats_s"][::COMMON_BEATS]
    places = song.places[cut.bars[0] :][: len(lines_s)]
    return sound, truth | {"lines_s": lines_s, "places": places, "marks": marks}


def _outer_cut(sketch: Sketch, edge: Edge, rng: np.random.Generator) -> Cut:
    lines_s = sketch.beats_s[list(sketch.bars)]
    if edge == "start":
        last = int(np.searchsorted(lines_s, lines_s[0] + EDGE_S + 1.0, side="right"))
        bars, kind = (0, min(last, sketch.n_bars)), "start"
    else:
        first = int(np.searchsorted(lines_s, lines_s[-1] - EDGE_S + 1.6))
        bars, kind = (first, sketch.n_bars), str(rng.choice(list(KINDS), p=list(KINDS.values())))
    fade_s = float(rng.uniform(5, 16)) if kind == "fade" else 0.0
    return Cut(edge=edge, bars=bars, kind=kind, fade_s=fade_s,
               fade_shape=str(rng.choice(FADE_SHAPES)))  # fmt: skip


def _marking(
    sketch: Sketch, song: GroupedSong, cut: Cut, players: Players, rng: np.random.Generator
) -> tuple[Sketch, Players]:
    """Drums whose fills and cymbals follow the groups, and players who rest with them."""
    place, places = -1, []
    for clear in song.places[:-1]:
        place += 1
        if clear >= 0 and place % GROUP_BARS != clear:
            place = clear
        places.append(place % (2 * GROUP_BARS))
    dropped = []
    for channel, first, last in players.dropped:
        bar = min(cut.bars[0] + first, len(places) - 1)
        late = -places[bar] % GROUP_BARS if rng.random() < WITH_GROUP_SHARE else 0
        dropped.append((channel, first + late, last + late))
    return replace(sketch, places=tuple(places)), replace(players, dropped=tuple(dropped))
