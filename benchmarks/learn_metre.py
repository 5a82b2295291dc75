"""Learn how likely each way to count is, from sets with exact truth.

``python -m benchmarks.learn_metre FOLDER... --into segue/analysis/metre_model.npz`` reads the
sets of `benchmarks.ears_set` (odd seeds only), describes every way to count each edge by the
evidence of `segue.analysis.metre`, and fits the conditional logit and the boosted trees of
`segue.analysis.metre_odds`. The trees are grown on sums from weights that have not seen the
piece (four folds). It takes ten minutes of one core for the hearing of 2300 edges, and as
long for the learning.

The model in place was learned from seeds 1, 11, 103, 105, 201, 203 and 207; `metre_odds` says
how many items of each.
"""

import argparse
import json
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile
from scipy.optimize import minimize

from benchmarks._plain_loops import RATE_HZ, plain_loops
from segue.analysis.counting import pulses_of
from segue.analysis.heard_part import heard_part
from segue.analysis.metre import METRES, BeatLevel, levels_of
from segue.analysis.metre_odds import Model, column_numbers, evidence_columns, with_sum
from segue.audio.clip import Clip, SongEdge, Stem

F_WINDOW_S: Final = 0.07
NEARLY_BEST: Final = 0.08
N_FOLDS: Final = 4
N_LIKELY: Final = 80
N_PLAIN: Final = 80
PLAIN_SEED: Final = 1
RIDGE: Final = 4.0
TREES: Final = {
    "max_iter": 200,
    "learning_rate": 0.08,
    "max_leaf_nodes": 8,
    "l2_regularization": 3.0,
    "max_features": 0.3,
    "random_state": 0,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Example:
    """All ways to count one edge, and which of them are right."""

    piece: str
    columns: np.ndarray
    places: list[tuple[int, int, int]]
    is_best: np.ndarray
    is_right: np.ndarray


def example_of(truth: dict[str, Any], folder: Path) -> Example | None:
    """One edge of a set; None where nothing is heard or the truth has no beats."""
    if not truth["downbeats_s"]:
        return None
    samples, rate_hz = soundfile.read(folder / truth["file"], dtype="float32", always_2d=True)
    return _example(truth, Clip(samples=samples, rate_hz=rate_hz), folder)


def plain_examples() -> list[Example]:
    """Clicks and drum loops without music."""
    found = [
        _example(truth, Clip(samples=sound[:, np.newaxis], rate_hz=RATE_HZ), Path())
        for sound, truth in plain_loops(N_PLAIN, PLAIN_SEED)
    ]
    return [example for example in found if example is not None]


def _example(truth: dict[str, Any], clip: Clip, folder: Path) -> Example | None:
    stem = Stem(role="mix", file=truth["file"], clip=clip)
    edge = SongEdge(path=folder, title="", edge=truth["edge"], stems=(stem,),
                    duration_s=clip.duration_s)  # fmt: skip
    heard = heard_part(edge)
    if heard is None:
        return None
    levels = levels_of(heard.evidence, pulses_of(heard.evidence))
    if not levels:
        return None
    places, columns = evidence_columns(levels)
    fits, is_best = fits_of(levels, places, truth, heard.start_s)
    return Example(
        piece=truth["piece"] or f"{truth['seed']} {truth['file']}",
        columns=columns,
        places=places,
        is_best=is_best,
        is_right=is_best & (fits[:, 0] > 0.8),
    )


def fits_of(
    levels: list[BeatLevel],
    places: list[tuple[int, int, int]],
    truth: dict[str, Any],
    start_s: float,
) -> tuple[np.ndarray, np.ndarray]:
    """F-measures of beats and downbeats of each way to count, and which ways are the best."""
    fits = np.array([_fit(levels[n], m, p, truth, start_s) for n, m, p in places])
    return fits, fits.sum(axis=1) >= fits.sum(axis=1).max() - NEARLY_BEST


def _fit(
    level: BeatLevel, metre: int, phase: int, truth: dict[str, Any], start_s: float
) -> tuple[float, float]:
    """F-measures of beats and of downbeats, where the truth has beats."""
    beats_s, downs_s = np.array(truth["beats_s"]), np.array(truth["downbeats_s"])
    heard_s = level.beats_s + start_s
    slack_s = 0.3 * level.beat_s
    inside = (heard_s > beats_s[0] - slack_s) & (heard_s < beats_s[-1] + slack_s)
    is_down = (np.arange(len(heard_s)) - phase) % metre == 0
    return _f(heard_s[inside], beats_s), _f(heard_s[inside & is_down], downs_s)


def _f(heard_s: np.ndarray, truth_s: np.ndarray) -> float:
    if len(heard_s) == 0 or len(truth_s) == 0:
        return 0.0
    hits = (np.abs(heard_s[:, None] - truth_s).min(axis=1) <= F_WINDOW_S).sum()
    return float(2 * hits / (len(heard_s) + len(truth_s)))


def expected_weights() -> np.ndarray:
    """What is expected before any example, chosen by hand: the ridge pulls towards it.

    Tempi near 110 bpm; onsets on the beats rather than between; four beats a bar, with the
    back beat on the second and fourth; bars that come again; harmony and bass that change on
    the downbeat.
    """
    knots = {name: float(name.split()[1]) for name in column_numbers() if name[:6] == "tempo "}
    expected = {name: -4.7 * np.log2(bpm / 110.0) ** 2 for name, bpm in knots.items()}
    for curve in ("low", "body", "melody", "high", "harmony", "bass"):
        places = {0: 1.5, 3: -0.45, 4: -0.45, 6: -0.6, 8: -0.45, 9: -0.45}
        expected |= {f"{curve} at {place}/12": weight for place, weight in places.items()}
    expected |= {f"{metre} again": 4.5 for metre in METRES}
    expected |= {"2": -0.75, "3": 0.3, "4": 1.5, "5": -2.25, "4 body 1": 1.0, "4 body 3": 1.0}
    expected |= {"any low": 1.5, "any harmony": 2.25, "any bass": 2.25, "any first": 0.75}
    return np.array([expected.get(name, 0.0) for name in column_numbers()], dtype=np.float32)


def learned_weights(examples: list[Example]) -> np.ndarray:
    """Weights of the conditional logit, with a ridge towards what is expected."""
    expected = expected_weights()
    tables = []
    for example in examples:
        kept = _likely(example.columns @ expected, example.is_best)
        tables.append((example.columns[kept], example.is_best[kept]))

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        off = weights - expected
        cost, slope = 0.5 * RIDGE * off @ off, RIDGE * off
        for columns, is_best in tables:
            total = columns @ weights.astype(np.float32)
            chance = np.exp(total - total.max())
            chance /= chance.sum()
            right = chance * is_best
            cost -= np.log(right.sum() + 1e-12)
            slope = slope + (chance - right / (right.sum() + 1e-12)) @ columns
        return cost, slope

    found = minimize(loss, expected.astype(np.float64), jac=True, method="L-BFGS-B",
                     options={"maxiter": 50})  # fmt: skip
    return found.x.astype(np.float32)


def _likely(total: np.ndarray, is_right: np.ndarray) -> np.ndarray:
    """The likeliest places and the right ones; the rest teaches little."""
    return np.union1d(np.argsort(-total)[:N_LIKELY], np.flatnonzero(is_right))


def learned_model(examples: list[Example]) -> Model:
    """Weights and trees."""
    from sklearn.ensemble import HistGradientBoostingClassifier  # type: ignore[import-untyped]

    rows, answers = tree_examples(examples)
    grown = HistGradientBoostingClassifier(**TREES).fit(rows, answers)
    trees = [predictor.nodes for (predictor,) in grown._predictors]
    return model_of(trees, learned_weights(examples))


def tree_examples(examples: list[Example]) -> tuple[np.ndarray, np.ndarray]:
    """What the trees learn from: places with the sum of weights that never saw the piece."""
    pieces = np.unique([example.piece for example in examples])
    fold_of = dict(zip(np.random.default_rng(0).permutation(pieces), cycle(range(N_FOLDS))))
    rows, answers = [], []
    for fold in range(N_FOLDS):
        weights = learned_weights([e for e in examples if fold_of[e.piece] != fold])
        for example in (e for e in examples if fold_of[e.piece] == fold):
            described = with_sum(example.columns, weights, example.places)
            kept = _likely(described[:, -2], example.is_right)
            rows.append(described[kept])
            answers.append(example.is_right[kept])
    return np.concatenate(rows), np.concatenate(answers)


def model_of(trees: list[np.ndarray], weights: np.ndarray) -> Model:
    """Tables of scikit-learn's nodes, tree by tree."""
    shape = (len(trees), max(len(nodes) for nodes in trees))
    itself = np.tile(np.arange(shape[1], dtype=np.int16), (shape[0], 1))
    column, left, right = np.zeros(shape, np.int16), itself, itself.copy()
    threshold, value = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for number, nodes in enumerate(trees):
        inner = np.flatnonzero(nodes["is_leaf"] == 0)
        column[number, inner] = nodes["feature_idx"][inner]
        left[number, inner], right[number, inner] = nodes["left"][inner], nodes["right"][inner]
        threshold[number, inner] = nodes["num_threshold"][inner]
        value[number, : len(nodes)] = np.where(nodes["is_leaf"], nodes["value"], 0.0)
    return Model(weights=weights, column=column, left=left, right=right,
                 threshold=threshold, value=value)  # fmt: skip


def write_model(model: Model, into: Path) -> None:
    """The model as `segue.analysis.metre_odds` reads it."""
    tables = {name: getattr(model, name) for name in Model.__slots__}
    np.savez_compressed(into, names=np.array(list(column_numbers())), **tables)


def main() -> None:
    """Learn from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--into", type=Path, required=True)
    options = parser.parse_args()
    edges = [
        (truth, folder)
        for folder in options.folders
        for truth in json.loads((folder / "index.json").read_text())
    ]
    if any(truth["seed"] % 2 == 0 for truth, _ in edges):
        parser.error("even seeds are for the report; learn from odd ones")
    found = [example_of(truth, folder) for truth, folder in edges]
    examples = [example for example in found if example is not None] + plain_examples()
    write_model(learned_model(examples), options.into)
    print(f"learned from {len(examples)} edges into {options.into}")


if __name__ == "__main__":
    main()
