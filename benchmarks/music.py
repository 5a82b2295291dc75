"""How the segues between real songs are as music, by measure.

    python -m benchmarks.music --songs FOLDER                # 20 pairs, drawn with a fixed seed
    python -m benchmarks.music --songs FOLDER --pairs 5 --seed 2 --shelf-pairs 1
    python -m benchmarks.music --songs FOLDER --keep RUNS    # and keeps the run folders there
    python -m benchmarks.music --songs FOLDER --only shelf talk    # some of its parts

Draws pairs from a folder of songs of 50 s and more, files or folders of stems, runs the main job
on each, and measures what lies between the songs on the sound of every option. Then does the first
pairs again for a lift, a calm, a dance and a talk, and tells in how many of them the three options
are what was asked for. Last it plays recipes of the shelf between the first pairs that they suit,
and says of each whether what it promises is heard: a beat or none, its level, its rise, no silence,
its chords. Exits 1 where a want is missed.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, get_args

import numpy as np
import soundfile

from benchmarks._bed import bed_of
from benchmarks._promises import promises_broken
from segue.analysis.facts import have_pulses
from segue.audio import read_song
from segue.audio.clip import Clip
from segue.audio.decode import sound_info
from segue.catalogue.scan import songs_under
from segue.errors import SegueError
from segue.heard.hearing import hear
from segue.job.between import make_segues
from segue.job.request import Request
from segue.job.shortlist import LEAST_SUITABILITY, MOST_HOLE_S, climbs, lifts
from segue.plan import Given, plan_segue, suitability
from segue.plan.heard_words import filled_in
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from segue.score import Purpose
from segue.score.bridge import STATIC_PULSE, bridge_of

if TYPE_CHECKING:
    from benchmarks._bed import Bed
    from segue.audio.clip import Edge
    from segue.catalogue.scan import FoundSong
    from segue.recipes import Recipe
    from segue.score.bridge import BridgeSound

PARTS: Final = ("pairs", *get_args(Purpose), "shelf")
LEAST_S: Final = 50.0
QUICK_HZ: Final = 22_050
TALK_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Option:
    """One option of one pair."""

    pair: int
    recipe: str
    has_pulse: bool
    bridge: BridgeSound
    hole_s: float
    chords_s: tuple[float, ...]
    bed: Bed | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the table."""

    what: str
    found: str
    wanted: str
    is_met: bool


def main() -> int:
    """Print both tables; 1 where a want is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path, required=True, help="a folder of songs")
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--shelf-pairs", type=int, default=2, help="pairs for each recipe")
    parser.add_argument("--purpose-pairs", type=int, default=3, help="pairs for each purpose")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a new folder for the run folders")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=PARTS, help="these parts")
    arguments = parser.parse_args()
    pairs = drawn_pairs(arguments.songs, arguments.pairs, arguments.seed)
    if not pairs:
        print(f"{arguments.songs} has no two songs of {LEAST_S:.0f} s and more", file=sys.stderr)
        return 1
    lines: list[Line] = []
    with tempfile.TemporaryDirectory() as name:
        runs = arguments.keep or Path(name)
        if "pairs" in arguments.only:
            options = [o for n, pair in enumerate(pairs) for o in _options(n, pair, runs)]
            if not options:
                print("none of these pairs could be joined", file=sys.stderr)
                return 1
            lines += _told(wants(options))
        lines += _told(
            [
                line
                for purpose in get_args(Purpose)
                if purpose in arguments.only
                and (line := _for_purpose(purpose, pairs[: arguments.purpose_pairs], runs))
            ]
        )
    broken = _shelf(pairs, arguments.shelf_pairs) if "shelf" in arguments.only else []
    return int(bool(broken) or not all(line.is_met for line in lines))


def _told(lines: list[Line]) -> list[Line]:
    """Prints a table as soon as it is known."""
    if lines:
        print(f"{'measure':46s} {'found':>22s}   wanted")
    for line in lines:
        print(
            f"{line.what:46s} {line.found:>22s}   {line.wanted}{'' if line.is_met else '  MISSED'}",
            flush=True,
        )
    return lines


def drawn_pairs(folder: Path, n_pairs: int, seed: int) -> list[tuple[Path, Path]]:
    """Pairs of different songs, the same for the same folder and seed."""
    songs = sorted(song.path for song in songs_under([folder]) if length_s(song) >= LEAST_S)
    generator = random.Random(seed)
    return [tuple(generator.sample(songs, 2)) for _ in range(n_pairs)] if len(songs) > 1 else []  # type: ignore[misc]


def length_s(song: FoundSong) -> float:
    """Length of a song; 0 where it cannot be read."""
    try:
        sounds = [sound_info(file) for file in song.files if file.suffix != ".toml"]
    except SegueError:
        return 0.0
    return max((sound.n_frames / sound.rate_hz for sound in sounds), default=0.0)


def _options(
    number: int, pair: tuple[Path, Path], runs: Path, purpose: Purpose | None = None
) -> list[Option]:
    """The three options of the main job on a pair."""
    print(f"pair {number + 1}: {pair[0].stem} to {pair[1].stem} {purpose or ''}", flush=True)
    out = runs / f"{number + 1:02d}{purpose or ''}"
    request = Request(
        outgoing=pair[0],
        incoming=pair[1],
        out=out,
        n_workers=2,
        purpose=purpose,
        talk_s=TALK_S if purpose == "talk" else None,
    )
    try:
        run = make_segues(request, progress=lambda _: None)
    except SegueError as error:
        print(f"{pair[0].name} to {pair[1].name}: {error}", file=sys.stderr)
        return []
    found = []
    for record in run.candidates:
        samples, rate_hz = soundfile.read(out / record.music_file, dtype="float32", always_2d=True)
        plan = record.plan
        lengths = tuple(
            plan.seconds_at(v.end_beat) - plan.seconds_at(v.start_beat)
            for v in plan.voicings
            if v.start_beat < plan.entry_beat - 0.01  # what rings on over the entry is none
        )
        found.append(
            Option(
                number,
                plan.recipe,
                have_pulses(run.outgoing) or have_pulses(run.incoming),
                bridge_of(plan, Clip(samples=samples, rate_hz=rate_hz)),
                record.scorecard.measure("hole").value,
                lengths,
                bed_of(plan, Clip(samples=samples, rate_hz=rate_hz)) if purpose == "talk" else None,
            )
        )
    for option in found:
        print(
            f"{number + 1:3d} {option.recipe:28s} {option.bridge.length_s:5.1f} s "
            f"pulse {option.bridge.pulse:.2f} below {option.bridge.below_lu:+5.1f} LU "
            f"hole {option.hole_s:.1f} s air {option.bridge.air_db:+5.1f} dB",
            flush=True,
        )
    return found


def wants(options: list[Option]) -> list[Line]:
    """What is wanted of all options together."""
    shelf = {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
    by_pair: defaultdict[int, list[Option]] = defaultdict(list)
    for option in options:
        by_pair[option.pair].append(option)
    pulsed = [three for three in by_pair.values() if three[0].has_pulse]
    static = [sum(o.bridge.is_static for o in three) for three in pulsed]
    unbroken = [max(o.bridge.thinnest_pulse for o in three) for three in pulsed]
    plain = [o for o in options if shelf[o.recipe].level.entry_lu > -4 and not _stops(shelf, o)]
    holes = [o.hole_s for o in options]
    below = [o.bridge.below_lu for o in plain]
    airs = [abs(o.bridge.air_db) for o in options]
    chords = [s for o in options for s in o.chords_s]
    most = max(
        (sum(o.recipe == name for o in options) for name in {o.recipe for o in options}), default=0
    )
    return [
        _line("pairs with a pulse: most static options of three", max(static, default=0), 1),
        Line(
            "pairs with a pulse that runs through in one",
            f"{sum(x >= STATIC_PULSE for x in unbroken)} of {len(unbroken)}",
            "all",
            all(x >= STATIC_PULSE for x in unbroken),
        ),
        _line(f"holes over {MOST_HOLE_S} s, share", _share(h > MOST_HOLE_S for h in holes), 0.1),
        Line(
            "bridge under the quieter song, median",
            f"{np.median(below):+.1f} LU",
            "0 to 4 LU",
            0 <= float(np.median(below)) <= 4,
        ),
        _line("air against the songs, median of sizes, dB", float(np.median(airs)), 4.0),
        _line(
            "dip before bar one over 3 LU, share", _share(o.bridge.dip_lu > 3 for o in plain), 0.25
        ),
        _line("chords under 0.9 s, share", _share(s < 0.89 for s in chords), 0.0),
        _line("one recipe's share of all options", most / max(len(options), 1), 0.25),
    ]


def _for_purpose(purpose: Purpose, pairs: list[tuple[Path, Path]], runs: Path) -> Line | None:
    """In how many pairs the three options are for what was asked."""
    shelf = {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
    threes = [three for n, pair in enumerate(pairs) if (three := _options(n, pair, runs, purpose))]
    if not threes:
        return None
    met = 0
    for three in threes:
        match purpose:
            case "lift":
                found = [climbs(shelf[o.recipe]) and lifts(o.bridge) for o in three]
                met += any(found)
            case "calm":
                found = [o.bridge.onsets_a_s <= 2.5 or o.bridge.is_static for o in three]
                met += found[0] and sum(found) >= 2 and three[0].bridge.rise_lu <= 2
            case "dance":
                found = [o.bridge.thinnest_pulse >= 0.7 and o.hole_s <= MOST_HOLE_S for o in three]
                met += found[0] or not three[0].has_pulse
            case "talk":
                found = [o.bed is not None and o.bed.is_fit for o in three]
                met += found[0] and sum(found) >= 2
        told = ", ".join(
            f"{o.recipe} {'yes' if x else 'no'}" for o, x in zip(three, found, strict=True)
        )
        print(f"  {purpose}: {told}", flush=True)
    return Line(f"--for {purpose}", f"{met} of {len(threes)} pairs", "all", met == len(threes))


def _stops(shelf: dict[str, Recipe], option: Option) -> bool:
    return shelf[option.recipe].level.stop_bars > 0


def _share(found: object) -> float:
    values = list(found)  # type: ignore[call-overload]
    return float(sum(values) / max(len(values), 1))


def _line(what: str, value: float, most: float) -> Line:
    return Line(what, f"{value:.2f}", f"up to {most:g}", value <= most)


def _shelf(pairs: list[tuple[Path, Path]], n_each: int) -> list[str]:
    """What every recipe promises, on the first pairs that it suits; names of the broken ones."""
    print(f"\n{'recipe':28s} heard on")
    waiting = {recipe.name: n_each for recipe in load_recipes(shelf_folder())}
    faults: defaultdict[str, list[str]] = defaultdict(list)
    for number, pair in enumerate(pairs, start=1):
        n_left = sum(left > 0 for left in waiting.values())
        if not n_left:
            break
        print(f"  pair {number}: {n_left} recipes to hear", file=sys.stderr, flush=True)
        try:
            songs = [read_song(path, edge=edge, rate_hz=QUICK_HZ) for path, edge in at_join(pair)]
            facts = filled_in(*(hear(song) for song in songs))
        except SegueError as error:
            print(f"{pair[0].name} to {pair[1].name}: {error}", file=sys.stderr)
            continue
        for recipe in load_recipes(shelf_folder()):
            talk_s = TALK_S if recipe.suits.talk == "yes" else None
            fit = suitability(recipe, *facts, Given(talk_s=talk_s))
            if not waiting[recipe.name] or fit < LEAST_SUITABILITY:
                continue
            waiting[recipe.name] -= 1
            made = render_candidate(plan_segue(recipe, *facts, talk_s=talk_s), *songs)
            found = promises_broken(recipe, made, facts)
            faults[recipe.name] += found
            for fault in found:
                print(f"  {pair[0].stem} to {pair[1].stem}, {recipe.name}: {fault}", flush=True)
    return _told_of_recipes({name: n_each - left for name, left in waiting.items()}, faults)


def at_join(pair: tuple[Path, Path]) -> tuple[tuple[Path, Edge], tuple[Path, Edge]]:
    """Which end of each of two songs meets the other."""
    return (pair[0], "end"), (pair[1], "start")


def _told_of_recipes(n_pairs: dict[str, int], faults: dict[str, list[str]]) -> list[str]:
    """A line for each recipe; names of those that do not keep what they promise."""
    for name, n in n_pairs.items():
        told = "; ".join(dict.fromkeys(faults[name])) or "as it says"
        print(f"{name:28s} {n} pairs: {told if n else 'suits none of them'}")
    return [name for name, found in faults.items() if found]


if __name__ == "__main__":
    sys.exit(main())
