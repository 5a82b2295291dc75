"""How the segues between real songs are as music, by measure.

    python -m benchmarks.music --songs FOLDER                # 20 pairs, drawn with a fixed seed
    python -m benchmarks.music --songs FOLDER --pairs 5 --seed 2 --shelf-pairs 1
    python -m benchmarks.music --songs FOLDER --keep RUNS    # and keeps the run folders there

Draws pairs from a folder of songs of 50 s and more, runs the main job on each, and measures what
lies between the songs on the sound of every option. Then plays recipes of the shelf between the
first pairs that they suit, and says of each whether what it promises is heard: a beat or none, its
level, its rise, no silence, its chords. Exits 1 where a want is missed.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.analysis.facts import have_pulses
from segue.audio import read_song
from segue.audio.clip import Clip
from segue.errors import SegueError
from segue.heard.hearing import hear
from segue.job.between import make_segues
from segue.job.request import Request
from segue.job.shortlist import LEAST_SUITABILITY, carrier_of, lifts
from segue.plan import Given, plan_segue, suitability
from segue.plan.heard_words import filled_in
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from segue.score.bridge import STATIC_PULSE, bridge_of

if TYPE_CHECKING:
    from segue.plan import Plan
    from segue.recipes import Recipe
    from segue.render.candidate import Candidate
    from segue.score.bridge import BridgeSound

SUFFIXES: Final = {".ogg", ".opus", ".mp3", ".flac", ".wav"}
LEAST_S: Final = 50.0
QUICK_HZ: Final = 22_050
TALK_S: Final = 20.0
LOOSE_LU: Final = 3.0
"""A bridge lies this close to the level that its recipe says."""
CHORD_SHARE: Final = 0.45
"""Of the power between 55 and 1000 Hz so much lies on the tones of the planned chord; three or
four tones of twelve have 0.25 to 0.33 by chance."""


@dataclass(frozen=True, slots=True)
class Option:
    """One option of one pair."""

    pair: int
    recipe: str
    has_pulse: bool
    bridge: BridgeSound
    chords_s: tuple[float, ...]


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
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a new folder for the run folders")
    arguments = parser.parse_args()
    pairs = drawn_pairs(arguments.songs, arguments.pairs, arguments.seed)
    if not pairs:
        print(f"{arguments.songs} has no two songs of {LEAST_S:.0f} s and more", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name:
        runs = arguments.keep or Path(name)
        options = [o for n, pair in enumerate(pairs) for o in _options(n, pair, runs)]
    if not options:
        print("none of these pairs could be joined", file=sys.stderr)
        return 1
    lines = wants(options)
    print(f"{'measure':46s} {'found':>22s}   wanted")
    for line in lines:
        print(
            f"{line.what:46s} {line.found:>22s}   {line.wanted}{'' if line.is_met else '  MISSED'}"
        )
    broken = _shelf(pairs, arguments.shelf_pairs)
    return int(bool(broken) or not all(line.is_met for line in lines))


def drawn_pairs(folder: Path, n_pairs: int, seed: int) -> list[tuple[Path, Path]]:
    """Pairs of different songs, the same for the same folder and seed."""
    songs = sorted(
        path for path in folder.rglob("*") if path.suffix in SUFFIXES and _length_s(path) >= LEAST_S
    )
    generator = random.Random(seed)
    return [tuple(generator.sample(songs, 2)) for _ in range(n_pairs)] if len(songs) > 1 else []  # type: ignore[misc]


def _length_s(path: Path) -> float:
    try:
        return float(soundfile.info(path).duration)
    except soundfile.LibsndfileError:
        return 0.0


def _options(number: int, pair: tuple[Path, Path], runs: Path) -> list[Option]:
    """The three options of the main job on a pair."""
    print(f"pair {number + 1}: {pair[0].stem} to {pair[1].stem}", flush=True)
    out = runs / f"{number + 1:02d}"
    request = Request(outgoing=pair[0], incoming=pair[1], out=out, n_workers=2)
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
            plan.seconds_at(v.end_beat) - plan.seconds_at(v.start_beat) for v in plan.voicings
        )
        found.append(
            Option(
                number,
                plan.recipe,
                have_pulses(run.outgoing) or have_pulses(run.incoming),
                bridge_of(plan, Clip(samples=samples, rate_hz=rate_hz)),
                lengths,
            )
        )
    for option in found:
        print(
            f"{number + 1:3d} {option.recipe:28s} {option.bridge.length_s:5.1f} s "
            f"pulse {option.bridge.pulse:.2f} below {option.bridge.below_lu:+5.1f} LU "
            f"hole {option.bridge.hole_s:.1f} s air {option.bridge.air_db:+5.1f} dB",
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
    holes = [o.bridge.hole_s for o in options if not _stops(shelf, o)]
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
        _line("holes over 0.3 s, stops left out, share", _share(h > 0.3 for h in holes), 0.1),
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
    broken = []
    waiting = {recipe.name: n_each for recipe in load_recipes(shelf_folder())}
    faults: defaultdict[str, list[str]] = defaultdict(list)
    for number, pair in enumerate(pairs, start=1):
        n_left = sum(left > 0 for left in waiting.values())
        if not n_left:
            break
        print(f"  pair {number}: {n_left} recipes to hear", file=sys.stderr, flush=True)
        try:
            songs = [
                read_song(pair[0], edge="end", edge_s=45.0, rate_hz=QUICK_HZ),
                read_song(pair[1], edge="start", edge_s=45.0, rate_hz=QUICK_HZ),
            ]
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
            faults[recipe.name] += promises_broken(recipe, made)
    for name, left in waiting.items():
        told = "; ".join(dict.fromkeys(faults[name])) or "as it says"
        print(
            f"{name:28s} {n_each - left} pairs: {told if left < n_each else 'suits none of them'}"
        )
        if faults[name]:
            broken.append(name)
    return broken


def promises_broken(recipe: Recipe, made: Candidate) -> list[str]:
    """What a recipe promises and is not heard."""
    bridge = bridge_of(made.plan, made.music)
    level, carrier = recipe.level, carrier_of(recipe)
    found = []
    if carrier in ("drums", "played") and bridge.length_s > 2 and bridge.is_static:
        found.append(f"no beat (pulse {bridge.pulse:.2f})")
    middle_lu = float(np.median([p.value for p in made.plan.bridge_lu]))
    if level.rise_bars < 0 and abs(-bridge.below_lu - middle_lu) > LOOSE_LU + 1:
        found.append(f"level {-bridge.below_lu:+.1f} LU for {middle_lu:+.1f}")
    if level.entry_lu - level.exit_lu >= 5 and level.rise_bars < 0 and bridge.rise_lu < 2:
        found.append(f"rises by {bridge.rise_lu:.1f} LU only")
    if recipe.suits.energy == "up" and carrier != "held" and not lifts(bridge):
        found.append(f"no lift ({bridge.rise_lu:+.1f} LU)")
    bar_s = bridge.length_s / max(
        len([b for b in made.plan.bar_lines if b.section == "interlude"]), 1
    )
    silent_s = level.stop_bars * bar_s + 0.4
    if level.exit_lu > -10 and bridge.hole_s > silent_s:
        found.append(f"silent for {bridge.hole_s:.1f} s")
    share = chord_share(made)
    if share is not None and share < CHORD_SHARE:
        found.append(f"chords not heard ({share:.2f} of the power)")
    return found


def chord_share(made: Candidate) -> float | None:
    """Share of what was made for the join that lies on the planned chords; None without any."""
    plan: Plan = made.plan
    rate_hz = made.music.rate_hz
    inside, total = 0.0, 0.0
    for voicing in plan.voicings:
        low, high = (
            round(plan.seconds_at(beat) * rate_hz)
            for beat in (
                max(voicing.start_beat, plan.exit_beat),
                min(voicing.end_beat, plan.entry_beat),
            )
        )
        part = made.interlude.samples[low:high].mean(axis=1)
        if len(part) < rate_hz // 2 or not voicing.roman_to:
            continue
        power = np.square(np.abs(np.fft.rfft(part * np.hanning(len(part)))))
        hertz = np.fft.rfftfreq(len(part), 1 / rate_hz)
        heard = (hertz > 55) & (hertz < 1000)
        cents = plan.key_to_tuning_cents / 100
        tones = np.round(69 + 12 * np.log2(np.maximum(hertz, 1.0) / 440) - cents).astype(int) % 12
        own = np.isin(tones, [midi % 12 for midi in voicing.notes_midi])
        inside += float(power[heard & own].sum())
        total += float(power[heard].sum())
    return inside / total if total > 0 else None


if __name__ == "__main__":
    sys.exit(main())
