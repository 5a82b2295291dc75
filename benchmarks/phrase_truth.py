"""How often groups of four bars are found, on songs of the rock corpus without their sound.

Run ``python -m benchmarks.phrase_truth --songs rock-songs.json.gz``. The data have no form, so a
group's start is taken where a chord progression of four bars or more that two analysts wrote down
begins to be repeated, or ends, and where the melody sets in after a rest of three quarters of a
bar; bars count whose phase both analysts' votes agree on by two to one. The first and last 22 bars
of each song are made into what `segue.analysis.phrases` hears of sound: pitch classes by the beat
from chords and melody. Players who come and go, the best evidence of sound, are missing here.
"""

from __future__ import annotations

import argparse
import gzip
import json
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from segue.analysis.bar_features import HOP_S, N_BANDS, BarFeatures
from segue.analysis.facts import Ending, Opening
from segue.analysis.phrases import GROUP_BARS, hear_phrases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.structure_facts import PhraseFact

EDGE_BARS: Final = 22
BEATS: Final = 4
BAR_S: Final = 2.0
LONGEST_LAG: Final = 32
LEAST_RUN: Final = 4
NEAR_BARS: Final = 24
CLEAR_RATIO: Final = 1.4
SURE: Final = 0.85
REACHES: Final = {"all": 0.80, "sure": 0.95}


def signatures(analyst: Sequence[dict[str, Any]]) -> list[tuple[Any, ...]]:
    """What each bar is, so that equal bars are equal."""
    return [
        tuple((round(4 * chord[0]), None if chord[1] is None else (bar["tonic"] + chord[1]) % 12)
              for chord in bar["chords"])
        for bar in analyst
    ]  # fmt: skip


def progression_votes(bars: Sequence[tuple[Any, ...]]) -> np.ndarray[Any, Any]:
    """Votes for each bar line: where repeated progressions begin and end."""
    votes = np.zeros(len(bars) + 1)
    for lag in range(LEAST_RUN, LONGEST_LAG + 1):
        run = 0
        for bar in range(len(bars) - lag + 1):
            same = bar < len(bars) - lag and bars[bar] == bars[bar + lag] != ()
            if same:
                run += 1
                continue
            first = bar - run
            if run >= LEAST_RUN and len(set(bars[first:bar])) > 1:
                for line, counts in ((first, first > 0), (bar, bar < len(bars) - lag)):
                    votes[[line, line + lag]] += float(counts)
            run = 0
    return votes


def melody_votes(song: dict[str, Any], n_bars: int) -> np.ndarray[Any, Any]:
    """Votes for each bar line: where the melody sets in after a rest."""
    votes, last = np.zeros(n_bars + 1), -9.0
    for bar, place, _ in sorted(song["melody"]):
        if bar + place - last > 1.75:
            votes[min(round(bar + place - 0.1), n_bars)] += 1.0
        last = bar + place
    return votes


def phase_at(votes: np.ndarray[Any, Any], line: int) -> int | None:
    """The phase of groups about a bar line; None where it is not clear."""
    lines = np.arange(len(votes))
    weights = votes * np.exp(-np.abs(lines - line) / NEAR_BARS)
    by_phase = np.bincount(lines % GROUP_BARS, weights, minlength=GROUP_BARS)
    order = np.argsort(by_phase)[::-1]
    clear = by_phase[order[0]] >= CLEAR_RATIO * by_phase[order[1]] and by_phase[order[0]] > 0.5
    return int(order[0]) if clear else None


def truth(song: dict[str, Any], line: int) -> int | None:
    """The phase that both analysts and the melody give; None where they do not agree."""
    phases = set()
    for name in ("analyst_1", "analyst_2"):
        bars = signatures(song[name])
        votes = np.minimum(progression_votes(bars), 4.0) + 0.5 * melody_votes(song, len(bars))
        phases.add(phase_at(votes, line))
    return phases.pop() if len(phases) == 1 else None


def features_of(song: dict[str, Any], first: int, last: int) -> BarFeatures:
    """What would be heard of some bars."""
    n_beats = BEATS * (last - first)
    beats = np.full((n_beats, 12), 0.02)
    for bar in range(first, last):
        entry = song["analyst_1"][bar]
        places = [*(chord[0] for chord in entry["chords"]), 1.0]
        for chord, here, after in zip(entry["chords"], places, places[1:], strict=False):
            if chord[1] is None:
                continue
            span = slice(round(BEATS * here), max(round(BEATS * after), round(BEATS * here) + 1))
            for interval in chord[2]:
                beats[BEATS * (bar - first) :][
                    span, (entry["tonic"] + chord[1] + interval) % 12
                ] += 1
    for bar, place, semitones in song["melody"]:
        if first <= bar < last:
            tonic = song["analyst_1"][bar]["tonic"]
            beats[BEATS * (bar - first) + int(BEATS * place), (tonic + semitones) % 12] += 0.7
    hops = int(BAR_S / BEATS / HOP_S) + 1
    return BarFeatures(
        bands_db=np.zeros((n_beats * hops, N_BANDS)),
        notes=np.repeat(beats, hops, axis=0),
        middle=np.zeros((1, 1), dtype=np.float32),
        start_s=0.0,
        lines_s=np.arange(last - first + 1) * BEATS * hops * HOP_S,
        metre=BEATS,
    )


def heard(song: dict[str, Any], edge: str) -> tuple[PhraseFact, int | None, int]:
    """What is heard of an edge, the true phase within it, and how many bars it has."""
    n_bars = min(len(song["analyst_1"]), len(song["analyst_2"]))
    n_edge = min(EDGE_BARS, n_bars)
    first = 0 if edge == "start" else n_bars - n_edge
    features = features_of(song, first, first + n_edge)
    end_s = float(features.lines_s[-1])
    join: Ending | Opening = (
        Opening(kind="on the beat", confidence=1.0, sound_start_s=0.0, first_downbeat_s=0.0)
        if edge == "start"
        else Ending(kind="keeps going", confidence=1.0, last_hit_s=end_s - 0.1, sound_end_s=end_s)
    )
    line = first + (4 if edge == "start" else n_edge - 4)
    phase = truth(song, line)
    return hear_phrases(features, 1.0, join), None if phase is None else (phase - first) % 4, n_edge


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table; leave with 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path, required=True)
    given = parser.parse_args(arguments)
    songs = json.loads(gzip.decompress(given.songs.read_bytes()))
    met = True
    print(f"{'half':10s} {'edge':6s} {'right':>14s} {'sure of .85':>14s} {'by counting':>14s}")
    for half, name in ((0, "chosen on"), (1, "report")):
        for edge in ("start", "end"):
            table = SimpleNamespace(right=[], sure=[], counted=[])
            for number, song in enumerate(songs):
                if number % 2 != half or len(song["analyst_1"]) < EDGE_BARS:
                    continue
                phrases, phase, n_edge = heard(song, edge)
                if phase is None or not phrases.starts_s:
                    continue
                said = round(phrases.starts_s[0] / BAR_S) % GROUP_BARS
                table.right.append(said == phase)
                if phrases.confidence >= SURE:
                    table.sure.append(said == phase)
                table.counted.append((0 if edge == "start" else n_edge % 4) == phase)
            cells = " ".join(
                f"{np.mean(found) if found else 0:.2f} ({sum(found)}/{len(found)})".rjust(14)
                for found in (table.right, table.sure, table.counted)
            )
            print(f"{name:10s} {edge:6s} {cells}")
            if half:
                met &= float(np.mean(table.right)) >= REACHES["all"]
    sys.exit(0 if met else 1)


if __name__ == "__main__":
    main()
