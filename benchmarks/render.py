"""What rendering costs: speed a recipe, memory of the main job, and where the two go.

``python -m benchmarks.render [--profile]``

Speed is seconds of candidate to one second of processor time, on one core, after
a first run that compiles. Memory is the peak of a fresh process that does the
whole main job on two stereo mixes (made here from the demo songs' stems).
Exits 1 where a reach is missed: 20 times real time in the mean over the shelf,
350 MB.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks._cost import cost_of
from segue.analysis.hear import hear_edge
from segue.audio import read_song
from segue.audio.write import write_wav24
from segue.errors import SegueError
from segue.plan import plan_segue
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import SongEdge
    from segue.plan import Plan

REACH_TIMES_REAL = 20.0
REACH_MB = 350.0
DEMO = Path(__file__).resolve().parent.parent / "demo_audio"
PAIR = ("01 Copper Wire Morning", "02 Low Tide Telegraph")
MAIN_JOB = "import sys; from segue.cli import main; sys.argv = ['segue', *sys.argv[1:]]; main()"


def main() -> int:
    """Print the tables; 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--profile", action="store_true", help="say where the time and the memory go"
    )
    arguments = parser.parse_args()
    songs = tuple(
        read_song(DEMO / name, edge=edge) for name, edge in zip(PAIR, ("end", "start"), strict=True)
    )
    facts = tuple(hear_edge(song) for song in songs)
    speed = _speeds(songs, facts, profile=arguments.profile)
    peak_mb = _peak_mb()
    is_fast, is_small = speed >= REACH_TIMES_REAL, peak_mb <= REACH_MB
    print(f"\n{'mean over the shelf':32s} {speed:6.1f} x  {_verdict(is_fast)}")
    print(f"{'peak of the main job, two mixes':32s} {peak_mb:6.0f} MB {_verdict(is_small)}")
    return 0 if is_fast and is_small else 1


def _speeds(songs: tuple[SongEdge, ...], facts: tuple[EdgeFacts, ...], *, profile: bool) -> float:
    rows = []
    for recipe in load_recipes(shelf_folder()):
        try:
            plan = plan_segue(
                recipe, *facts, outgoing_has_stems=True, incoming_has_stems=True, seed=1
            )
        except SegueError as error:
            print(f"{recipe.name:32s} not planned: {error}")
            continue
        render_candidate(plan, *songs)
        profiler = cProfile.Profile()
        started = time.process_time()
        if profile:
            profiler.enable()
        render_candidate(plan, *songs)
        profiler.disable()
        took_s = time.process_time() - started
        rows.append((plan.duration_s, took_s))
        speed = plan.duration_s / took_s
        print(f"{recipe.name:32s} {speed:6.1f} x  {plan.duration_s:5.1f} s", flush=True)
        if profile:
            pstats.Stats(profiler).sort_stats("tottime").print_stats(8)
            _print_memory(plan, songs)
    return sum(row[0] for row in rows) / sum(row[1] for row in rows)


def _print_memory(plan: Plan, songs: tuple[SongEdge, ...]) -> None:
    """How much the arrays of one candidate take at most, and what is left of them."""
    tracemalloc.start()
    candidate = render_candidate(plan, *songs)
    kept, peak = (size / 2**20 for size in tracemalloc.get_traced_memory())
    tracemalloc.stop()
    print(f"{candidate.plan.recipe}: {peak:.0f} MB at most, {kept:.0f} MB in the candidate\n")


def _peak_mb() -> float:
    """Peak memory of a fresh process doing the main job, in MB."""
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for name, edge in zip(PAIR, ("end", "start"), strict=True):
            song = read_song(DEMO / name, edge=edge, edge_s=240.0)
            path = Path(folder) / f"{name}.wav"
            quiet = song.mix.samples * 0.7
            write_wav24(path, type(song.mix)(samples=quiet, rate_hz=song.rate_hz))
            paths.append(str(path))
        command = [sys.executable, "-c", MAIN_JOB, "between", *paths, "--quiet", "--no-cache"]
        return cost_of([*command, "--workers", "1", "--out", f"{folder}/run"]).peak_mb


def _verdict(is_met: bool) -> str:
    return "met" if is_met else "MISSED"


if __name__ == "__main__":
    sys.exit(main())
