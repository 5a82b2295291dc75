"""Whether five choices by one thing move the first option to it, and choices at random do not.

``python -m benchmarks.taste --songs FOLDER... --keep KEPT`` renders segues between real songs (or
takes those that are kept), scores them, and lets bands choose among three of each pair: bands that
go by one measure, and bands that roll dice. After each number of choices it looks at pairs that the
band has not heard: how often the first option is the band's own, by the table and as learned, and
how often a band without a taste finds another first option. 1 where a reach is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from benchmarks._score_real import drawn_songs, kept_segues, read_segue
from segue.score import score_candidate
from segue.score.learned_weights import Decision, overall_scores, taste_of
from segue.score.weights import weights_for

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    Marks = dict[str, float]
    Three = tuple[Marks, Marks, Marks]

TASTES: Final = ("own_music", "landing", "tonal_path", "key_arrival", "cliff", "fullness", "pulse")
"""What bands go by: measures that differ among the options of most pairs."""
N_CHOICES: Final = (5, 10)
RISE, MOVED = 0.15, 0.05
"""After five choices the first option is the band's own so much more often, over all tastes; and
after five at random it is another than before on no more of the unseen pairs."""
_TOLD_APART: Final = 0.15  # marks of the three that differ by less are no choice
_SONGS_SEED: Final = 7  # of the pairs that are drawn
_N_BANDS: Final = 60  # of each taste
_MOST_OPTIONS: Final = 6  # scored of a pair


def marks_of(path: Path) -> tuple[str, Marks] | None:
    """Pair and marks of a kept segue; None of one to talk over."""
    segue = read_segue(path)
    if segue.is_for_talk:
        return None
    card = score_candidate(segue.candidate, *segue.facts)
    return segue.pair, {measure.name: measure.score for measure in card.measures}


def threes_of(found: Sequence[tuple[str, Marks]], rng: np.random.Generator) -> list[list[Three]]:
    """For each pair of songs some threes of its options."""
    pairs: dict[str, list[Marks]] = {}
    for pair, marks in found:
        pairs.setdefault(pair, []).append(marks)
    drawn = []
    for options in pairs.values():
        if len(options) >= 3:
            picks = [rng.permutation(len(options))[:3] for _ in range(3)]
            drawn.append([(options[a], options[b], options[c]) for a, b, c in picks])
    return drawn


def first_of(three: Three, weights: Mapping[str, float]) -> int:
    """The option that weights put first."""
    return int(np.argmax(overall_scores(Decision(scores=three, chosen=0), weights)))


def by_measure(name: str) -> Callable[[Three], int]:
    """A band that takes the option with the best mark, and of equal ones the better scored."""
    table = weights_for(None)

    def choose(three: Three) -> int:
        marks = np.array([marks.get(name, 0.5) for marks in three])
        overall = overall_scores(Decision(scores=three, chosen=0), table)
        return int(np.argmax(marks + 1e-3 * overall))

    return choose


def is_told_apart(three: Three, name: str) -> bool:
    """Whether the options differ in a measure so that a band would hear it."""
    return float(np.ptp([marks.get(name, 0.5) for marks in three])) > _TOLD_APART


def tried(
    pairs: list[list[Three]],
    choose: Callable[[Three], int],
    n: int,
    rng: np.random.Generator,
) -> list[tuple[Three, int, int]]:
    """For unseen threes of a band that chose n times: the three, and its first before and after."""
    order = rng.permutation(len(pairs))
    heard = [pairs[k][int(rng.integers(3))] for k in order[:n]]
    learned = taste_of([Decision(scores=three, chosen=choose(three)) for three in heard]).weights
    table = weights_for(None)
    unseen = [three for k in order[n:] for three in pairs[k]]
    return [(three, first_of(three, table), first_of(three, learned)) for three in unseen]


def main() -> int:
    """Print the table; 1 where a reach is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=Path, nargs="+", required=True, help="folders of songs")
    parser.add_argument("--keep", type=Path, help="where renders are kept")
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=2)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as nowhere:
        songs = drawn_songs(args.songs, args.pairs, seed=_SONGS_SEED)
        paths = kept_segues(songs, args.keep or Path(nowhere))
        rng = np.random.default_rng(args.seed)
        with ProcessPoolExecutor(args.workers) as pool:
            found = [one for one in pool.map(marks_of, _some_of_each(paths, rng)) if one]
    pairs = threes_of(found, rng)
    print(f"{len(pairs)} pairs, {len(found)} segues")
    is_met = True
    for n in N_CHOICES:
        rises = []
        for name in TASTES:
            choose = by_measure(name)
            hits = np.array(
                [
                    (before == choose(three), after == choose(three))
                    for _ in range(_N_BANDS)
                    for three, before, after in tried(pairs, choose, n, rng)
                    if is_told_apart(three, name)
                ]
            ).mean(axis=0)
            rises.append(hits[1] - hits[0])
            print(f"{n:2} choices by {name:<12} first is the band's {hits[0]:.2f} -> {hits[1]:.2f}")
        moved = [
            np.mean([before != after for _, before, after in tried(pairs, choose, n, rng)])
            for choose in [lambda _: int(rng.integers(3))] * (3 * _N_BANDS)
        ]
        print(f"{n:2} choices: rise over all tastes {np.mean(rises):.2f} (reach {RISE} after five)")
        print(f"{n:2} choices at random move {np.mean(moved):.3f} of unseen (at most {MOVED})")
        is_met &= bool(np.mean(rises) >= RISE and np.mean(moved) <= MOVED)
    return 0 if is_met else 1


def _some_of_each(paths: Sequence[Path], rng: np.random.Generator) -> list[Path]:
    """At most `_MOST_OPTIONS` segues of each pair."""
    pairs: dict[str, list[Path]] = {}
    for path in paths:
        pairs.setdefault(path.stem.rpartition(", ")[0], []).append(path)
    return [
        options[k]
        for options in pairs.values()
        for k in rng.permutation(len(options))[:_MOST_OPTIONS]
    ]


if __name__ == "__main__":
    sys.exit(main())
