"""Learn how likely each way to count is, from sets with exact truth.

``python -m benchmarks.learn_metre FOLDER... --into segue/analysis/metre_model.npz`` reads the
sets of `benchmarks.ears_set` (odd seeds only), describes every way to count each edge by the
evidence of `segue.analysis.metre`, and fits the conditional logit and the boosted trees of
`segue.analysis.metre_odds`. The trees are grown on sums from weights that have not seen the
edge (four folds).
"""

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import soundfile
from scipy.optimize import minimize

from segue.analysis.counting import pulses_of
from segue.analysis.heard_part import heard_part
from segue.analysis.metre import Level, levels_of
from segue.analysis.metre_odds import Model, column_numbers, evidence_columns, with_sum
from segue.audio.clip import Clip, SongEdge, Stem

F_WINDOW_S: Final = 0.07
N_FOLDS: Final = 4
N_LIKELY: Final = 150
RIDGE: Final = 2.0
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

    columns: np.ndarray
    places: list[tuple[int, int, int]]
    is_best: np.ndarray
    is_right: np.ndarray


def example_of(truth: dict, folder: Path) -> Example | None:
    """One edge of a set."""
    samples, rate_hz = soundfile.read(folder / truth["file"], dtype="float32", always_2d=True)
    clip = Clip(samples=samples, rate_hz=rate_hz)
    stem = Stem(role="mix", file=truth["file"], clip=clip)
    edge = SongEdge(path=folder, title="", edge=truth["edge"], stems=(stem,),
                    duration_s=clip.duration_s)  # fmt: skip
    heard = heard_part(edge)
    if heard is None:
        return None
    levels = [lv for pulse in pulses_of(heard.evidence) for lv in levels_of(heard.evidence, pulse)]
    if not levels:
        return None
    places, columns = evidence_columns(levels)
    fits = np.array([_fit(levels[n], m, p, truth, heard.start_s) for n, m, p in places])
    is_best = fits.sum(axis=1) >= fits.sum(axis=1).max() - 0.08
    return Example(columns=columns, places=places, is_best=is_best,
                   is_right=is_best & (fits[:, 0] > 0.8))  # fmt: skip


def _fit(level: Level, metre: int, phase: int, truth: dict, start_s: float) -> tuple[float, float]:
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


def learned_weights(examples: list[Example]) -> np.ndarray:
    """Weights of the conditional logit, with a ridge."""
    n_columns = len(column_numbers())

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        cost, slope = 0.5 * RIDGE * weights @ weights, RIDGE * weights
        for example in examples:
            total = example.columns @ weights.astype(np.float32)
            chance = np.exp(total - total.max())
            chance /= chance.sum()
            right = chance * example.is_best
            cost -= np.log(right.sum() + 1e-12)
            slope = slope + (chance - right / (right.sum() + 1e-12)) @ example.columns
        return cost, slope

    found = minimize(loss, np.zeros(n_columns), jac=True, method="L-BFGS-B",
                     options={"maxiter": 50})  # fmt: skip
    return found.x.astype(np.float32)


def learned_model(examples: list[Example]) -> Model:
    """Weights and trees."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    order = np.random.default_rng(0).permutation(len(examples))
    rows, answers = [], []
    for fold in range(N_FOLDS):
        held_out = set(order[fold::N_FOLDS].tolist())
        weights = learned_weights([e for n, e in enumerate(examples) if n not in held_out])
        for example in (examples[n] for n in sorted(held_out)):
            described = with_sum(example.columns, weights, example.places)
            likely = np.argsort(-described[:, -2])[:N_LIKELY]
            kept = np.union1d(likely, np.flatnonzero(example.is_right))
            rows.append(described[kept])
            answers.append(example.is_right[kept])
    grown = HistGradientBoostingClassifier(**TREES)
    grown.fit(np.concatenate(rows), np.concatenate(answers))
    return _model_of(grown, learned_weights(examples))


def _model_of(grown: object, weights: np.ndarray) -> Model:
    trees = [predictor.nodes for (predictor,) in grown._predictors]
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


def main() -> None:
    """Learn from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--into", type=Path, required=True)
    options = parser.parse_args()
    examples = [
        example
        for folder in options.folders
        for truth in json.loads((folder / "index.json").read_text())
        if (example := example_of(truth, folder)) is not None
    ]
    model = learned_model(examples)
    tables = {name: getattr(model, name) for name in Model.__slots__}
    np.savez_compressed(options.into, names=np.array(list(column_numbers())), **tables)
    print(f"learned from {len(examples)} edges into {options.into}")


if __name__ == "__main__":
    main()
