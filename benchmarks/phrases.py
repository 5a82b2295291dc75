"""How often the place of bars in their groups of four is heard, at starts and ends of songs.

Run ``python -m benchmarks.phrases --pop FOLDER --soundfonts FOLDERS --into FOLDER``.
`pop_phrases.tsv` has the phrases of 209 pop songs as people wrote them down [D20]_, of 14 as two
did: the last row of the table tells how far two people agree. Each song's start and end is
rendered twice into the folder given (`benchmarks.phrase_songs`), once by a band that marks its
groups and once by one that does not; what is there already is not made again.

The odds of `segue.analysis.phrases` were fitted on the songs of one split, of those up to number
363; ``--fit`` fits them anew to all of that split and prints them. The table tells of the other
splits. A place is asked for four bars from the song's outer end, of edges whose bar lines are
heard.
"""

from __future__ import annotations

import argparse
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import soundfile

from benchmarks._song_effects import FILE_RATE_HZ
from benchmarks.phrase_songs import GROUP_BARS, grouped_songs, phrase_places, rendered_edge
from benchmarks.rendered_songs import EDGE_S, SPLIT_NUMBERS, add_source_options, sources_of
from segue.analysis import phrases
from segue.analysis.bar_features import bar_features
from segue.analysis.ending import hear_ending
from segue.analysis.facts import Ending
from segue.analysis.opening import hear_opening
from segue.analysis.pulse import hear_pulse
from segue.audio import read_song

if TYPE_CHECKING:
    from collections.abc import Sequence

SURE: Final = 0.85
REACHES: Final = {"right": 0.80, "sure": 0.95}
LABELS: Final = Path(__file__).with_name("pop_phrases.tsv")
BARS_IN: Final = 3
ON_LINE_S: Final = 0.12
LEAST_BARS: Final = 6
NUMBERS: Final = (0, 1)
EDGES: Final = ("start", "end")
SAME_BARS: Final = (0.8, 1.25)
HALF_BARS: Final = (0.4, 0.63)
"""Bars heard against bars written, where one is counted like the other or twice as fast."""
PRIOR: Final = 3.0
"""How much the fit holds each weight to none: one over the variance that it is thought to have."""

Floats = np.ndarray[Any, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeardEdge:
    """An edge: what speaks for first places, its bar at the song's edge, its true places."""

    name: str
    side: phrases.Side
    is_fitted: bool
    signs: Floats
    line: int
    places: Floats
    fact: Any
    lines_s: Floats

    @property
    def asked(self) -> int | None:
        """The fourth bar from the outer end whose place is known, or the last that is."""
        known = np.flatnonzero(self.places >= 0)
        if self.side == "end":
            known = known[::-1]
        return int(known[min(BARS_IN, len(known) - 1)]) if len(known) else None

    @property
    def is_right(self) -> bool:
        """Whether the place that is asked for was heard."""
        starts = np.searchsorted(self.lines_s, np.array(self.fact.starts_s) - 1e-6)
        before = starts[starts <= self.asked]
        if len(before):
            return bool((self.asked - before[-1]) % GROUP_BARS == self.places[self.asked])
        return bool((self.asked - starts[0]) % GROUP_BARS == self.places[self.asked])


def written_phrases() -> list[tuple[str, str, str]]:
    """Songs by number, the phrases of each, and another's; ``-`` where there are none."""
    lines = LABELS.read_text(encoding="utf-8").splitlines()
    named = [line.split("\t") for line in lines if not line.startswith("#")]
    return [(song, first, other) for song, first, other in named[1:]]


def agreed(first: str, second: str, side: str) -> bool:
    """Whether two people's phrases give a bar one place: the fourth from the end that has one."""
    written = [phrase_places(way) for way in (first, second)]
    n_bars = min(map(len, written))
    one, other = (places[:n_bars] for places in written)
    known = np.flatnonzero((one >= 0) & (other >= 0))
    asked = known[BARS_IN if side == "start" else -1 - BARS_IN]
    return bool(one[asked] == other[asked])


def true_places(lines_s: Floats, written_s: Floats, written: Sequence[int]) -> Floats:
    """The place of every bar heard, counted as it was heard; -1 where it is off the bar lines."""
    ratio = float(np.median(np.diff(lines_s)) / np.median(np.diff(written_s)))
    halves_s = np.sort(np.concatenate([written_s, 0.5 * (written_s[:-1] + written_s[1:])]))
    places = np.full(len(lines_s) - 1, -1)
    for bar, line_s in enumerate(lines_s[:-1]):
        near = int(np.argmin(np.abs(halves_s - line_s)))
        line, half = divmod(near, 2)
        if abs(halves_s[near] - line_s) > ON_LINE_S or written[line] < 0:
            continue
        if HALF_BARS[0] < ratio < HALF_BARS[1]:
            places[bar] = (2 * written[line] + half) % GROUP_BARS
        elif SAME_BARS[0] < ratio < SAME_BARS[1] and not half:
            places[bar] = written[line]
    return places


def made(job: tuple[str, Any, phrases.Side, int], sources: Any, into: Path) -> Path | None:  # noqa: ANN401 - its own kind
    """The file of an edge, rendered where it is not there."""
    split, song, side, number = job
    path = into / f"{song.sketch.name}_{side}_{number}.flac"
    if path.exists():
        return path
    try:
        rendered = rendered_edge(song, side, number, sources)
    except (ValueError, IndexError):  # too short a song
        return None
    if rendered is None:
        return None
    sound, truth = rendered
    kept = {name: truth[name] for name in ("lines_s", "places", "marks")}
    path.with_suffix(".json").write_text(json.dumps(kept | {"split": split, "side": side}))
    soundfile.write(path, sound, FILE_RATE_HZ, subtype="PCM_16")
    return path


def heard(path: Path) -> HeardEdge | None:
    """What is heard of an edge; None where it has too few bars."""
    truth = json.loads(path.with_suffix(".json").read_text())
    song = read_song(path, edge=truth["side"], edge_s=EDGE_S, rate_hz=FILE_RATE_HZ)
    pulse = hear_pulse(song)
    join = (hear_ending if truth["side"] == "end" else hear_opening)(song, pulse)
    features = bar_features(song, pulse)
    if features is None or features.n_bars < LEAST_BARS:
        return None
    written_s = np.array(truth["lines_s"])[: len(truth["places"])]
    return HeardEdge(
        name=path.name.partition("_")[0],
        side="end" if isinstance(join, Ending) else "start",
        is_fitted=truth["split"] == "fit",
        signs=phrases.phrase_signs(features),
        line=phrases.edge_line(features, join),
        places=true_places(features.lines_s, written_s, truth["places"]),
        fact=phrases.hear_phrases(features, 1.0, join),
        lines_s=features.lines_s,
    )


def _weight(odds: Floats, anew: float) -> float:
    """The logarithm of the weight of all ways through the places."""
    step = phrases.place_steps(anew)
    weight = odds[0]
    for here in odds[1:]:
        weight = np.logaddexp.reduce(weight[:, None] + step, axis=0) + here
    return float(np.logaddexp.reduce(weight))


def fitted(edges: Sequence[HeardEdge], edge_odds: Floats) -> Floats:
    """Odds of each sign, and of a group anew, under which the true places are likeliest."""
    from scipy.optimize import minimize

    unlike = [np.where((e.places[:, None] >= 0) & (np.arange(GROUP_BARS) != e.places[:, None]),
                       -30.0, 0.0) for e in edges]  # fmt: skip

    def loss(weights: Floats) -> float:
        lost = 0.5 * PRIOR * float(weights[:-1] @ weights[:-1])
        for edge, no in zip(edges, unlike, strict=True):
            odds = np.zeros((len(edge.signs), GROUP_BARS))
            odds[:, 0] = edge.signs @ weights[:-1]
            bar = min(max(edge.line, 0), len(odds) - 1)
            odds[bar] += np.roll(edge_odds, bar - edge.line)
            lost += min(_weight(odds, weights[-1]) - _weight(odds + no, weights[-1]), 30.0)
        return lost

    start = np.append(np.zeros(edges[0].signs.shape[1]), -4.0)
    return np.asarray(minimize(loss, start, method="L-BFGS-B", options={"maxiter": 60}).x)


def _print_table(edges: Sequence[HeardEdge]) -> bool:
    met = True
    print(f"{'songs':10s} {'edge':6s} {'right':>14s} {'sure of .85':>14s} {'counted':>14s}")
    for name, is_fitted in (("fitted", True), ("report", False)):
        sure: list[bool] = []
        for side in EDGES:
            there = [e for e in edges if e.side == side and e.is_fitted == is_fitted]
            asked = [e for e in there if e.asked is not None]
            right = [e.is_right for e in asked]
            sure_here = [e.is_right for e in asked if e.fact.confidence >= SURE]
            counted = [(e.asked - e.line) % GROUP_BARS == e.places[e.asked] for e in asked]
            cells = " ".join(_share(found).rjust(14) for found in (right, sure_here, counted))
            print(f"{name:10s} {side:6s} {cells}   {len(there) - len(asked)} without bar lines")
            sure += sure_here
            met &= is_fitted or (bool(right) and float(np.mean(right)) >= REACHES["right"])
        met &= is_fitted or not sure or float(np.mean(sure)) >= REACHES["sure"]
    return met


def _share(found: Sequence[bool]) -> str:
    return f"{np.mean(found) if found else 0:.2f} ({sum(found)}/{len(found)})"


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table; leave with 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    add_source_options(parser)
    parser.add_argument("--into", type=Path, required=True, help="folder of rendered edges")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--fit", action="store_true", help="print odds fitted anew")
    given = parser.parse_args(arguments)
    given.into.mkdir(parents=True, exist_ok=True)
    rows = written_phrases()
    sources = sources_of(given)
    songs = list(grouped_songs(tuple(SPLIT_NUMBERS), sources, {row[0]: row[1] for row in rows}))
    jobs = [(*song, side, number) for song in songs for side in EDGES for number in NUMBERS]
    with ProcessPoolExecutor(max_workers=given.workers) as pool:
        paths = [p for p in pool.map(partial(made, sources=sources, into=given.into), jobs) if p]
        edges = [edge for edge in pool.map(heard, paths) if edge]
    if given.fit:
        for side in EDGES:
            own = [e for e in edges if e.side == side and e.is_fitted and e.asked is not None]
            print(side, fitted(own, np.array(phrases.EDGE_ODDS[side])).round(2).tolist())
    is_met = _print_table(edges)
    pairs = [(first, second) for _, first, second in rows if second != "-"]
    cells = [_share([agreed(*pair, side) for pair in pairs]) for side in EDGES]
    print(f"two people agree at starts in {cells[0]}, at ends in {cells[1]}")
    sys.exit(0 if is_met else 1)


if __name__ == "__main__":
    main()
