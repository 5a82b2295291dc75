"""What is promised of any candidate, over many plans drawn by the real planner.

    python -m benchmarks.plans              # 208 plans, all rates alike
    python -m benchmarks.plans --n 16 --first 64

Two made songs each: tempos of 50-200 BPM, three, four and six beats a bar, many lengths,
rates of 22.05-96 kHz, mono and stereo, mixes and stems, every recipe of the shelf in turn
and two that are refused between most pairs. Exits 1 where a promise is broken.
"""

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import fields
from pathlib import Path

from segue.plan.tempo_spans import TempoTooFarError
from tests.render.drawn_plans import (
    LIMITS,
    Drawn,
    Figures,
    drawn,
    figures,
    is_too_far,
    made,
    misses,
)

NAMES = [field.name for field in fields(Figures)]


def main() -> int:
    """Print the table; 1 where something is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=208, help="how many plans")
    parser.add_argument("--first", type=int, default=0, help="number of the first")
    options = parser.parse_args()
    began = time.process_time()
    worst: defaultdict[str, list[Figures]] = defaultdict(list)
    n_refused, broken = 0, []
    for number in range(options.first, options.first + options.n):
        draw = drawn(number)
        got = _figures(draw)
        if (got is None) != is_too_far(draw):
            broken.append(f"{_words(draw)}: {'refused' if got is None else 'not refused'}")
        elif got is None:
            n_refused += 1
        else:
            worst[draw.recipe.name].append(got)
            broken += [f"{_words(draw)}: {name} {getattr(got, name):g}" for name in misses(got)]
        print(f"\r{number - options.first + 1} of {options.n}", end="", file=sys.stderr, flush=True)
    _print_table(worst)
    print(f"{options.n} plans, {n_refused} refused as they should be, {len(broken)} misses")
    print("\n".join(broken))
    print(f"{time.process_time() - began:.0f} s of processor time")
    return int(bool(broken))


def _figures(draw: Drawn) -> Figures | None:
    """What was measured; None where the recipe was refused."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            one = made(draw, Path(folder))
        except TempoTooFarError:
            return None
        return figures(one, twice=True)


def _words(draw: Drawn) -> str:
    return (
        f"{draw.number} {draw.recipe.name}, {draw.old.bpm:.1f} to {draw.new.bpm:.1f} BPM, "
        f"{draw.old.metre} to {draw.new.metre}, {draw.rate_hz} Hz"
    )


def _print_table(worst: defaultdict[str, list[Figures]]) -> None:
    """The worst of every recipe."""
    print("\n" + f"{'worst':32s}" + "".join(f"{name:>18s}" for name in NAMES))
    everything = [one for found in worst.values() for one in found]
    for recipe, found in (*worst.items(), ("all", everything), ("limit", [LIMITS])):
        largest = (max((getattr(one, name) for one in found), default=0) for name in NAMES)
        print(f"{recipe:32s}" + "".join(f"{value:18.3f}" for value in largest))


if __name__ == "__main__":
    sys.exit(main())
