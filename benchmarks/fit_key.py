"""Fit the weights by which Segue's hearing of keys adds up its evidence.

``python -m benchmarks.fit_key FOLDER... --into WEIGHTS.json`` hears every item of sets that
``benchmarks.ears_set`` made (odd seeds), fits a conditional logit over the 24 keys with an
L2 penalty, prints what cross-validation says, and writes the table of weights.
"""

import argparse
import json
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from segue.analysis.chroma import Floats
from segue.analysis.key_evidence import EVIDENCE, key_evidence
from segue.analysis.key_heard import CAUTION
from segue.analysis.key_segments import hear_segments
from segue.analysis.pulse import hear_pulse
from segue.analysis.tuning import hear_tuning
from segue.audio import read_song
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES, parse_key

PENALTY: Final = 0.2
"""Half of this times the sum of squared weights is added to the negative log likelihood."""
N_FOLDS: Final = 4
SURE: Final = 0.8


def main() -> None:
    """Fit from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--into", type=Path, required=True)
    options = parser.parse_args()
    items = [heard(folder, truth) for folder in options.folders for truth in _index(folder)]
    evidence = np.array([found for found, _ in items])
    keys = np.array([key for _, key in items])
    folds = np.random.default_rng(0).integers(N_FOLDS, size=len(keys))
    chances = np.empty((len(keys), len(ALL_KEYS)))
    for fold in range(N_FOLDS):
        theirs = folds == fold
        weights = fitted_weights(evidence[~theirs], keys[~theirs])
        chances[theirs] = key_odds(evidence[theirs], weights, caution=CAUTION)
    best, confidence = chances.argmax(axis=1), chances.max(axis=1)
    sure = confidence >= SURE
    print(f"{len(keys)} items, exact {np.mean(best == keys):.3f}")
    print(f"sure {sure.mean():.3f}, of these right {np.mean((best == keys)[sure]):.3f}")
    write_weights(fitted_weights(evidence, keys), options.into)


def heard(folder: Path, truth: dict[str, Any]) -> tuple[Floats, int]:
    """Evidence of an item, and the number of its key in ``ALL_KEYS``."""
    edge = read_song(folder / truth["file"], edge=truth["edge"], edge_s=45.0, rate_hz=48_000)
    cuts = hear_segments(edge, hear_pulse(edge), tuning_cents=hear_tuning(edge))
    if not cuts:
        msg = f"{truth['file']}: nothing in it is pitched; leave it out of the set."
        raise SystemExit(msg)
    evidence = np.mean([key_evidence(cut) for cut in cuts], axis=0)
    return evidence, ALL_KEYS.index(parse_key(truth["key"]))


def fitted_weights(evidence: Floats, keys: npt.NDArray[np.intp]) -> Floats:
    """Weights of the likeliest logit, flat: major and minor rows, then the bias of minor."""
    seen = _from_tonics(evidence)
    rows = np.arange(len(keys))

    def cost(flat: Floats) -> tuple[float, Floats]:
        odds = _softmax(_scores(seen, flat))
        error = odds.copy()
        error[rows, keys] -= 1.0
        by_mode = error.reshape(len(keys), len(MODES), N_PITCH_CLASSES)
        slope = np.tensordot(by_mode, seen, axes=((0, 2), (0, 1))).ravel()
        both = np.append(slope, by_mode[:, 1].sum()) + PENALTY * flat
        loss = -np.log(odds[rows, keys] + np.finfo(np.float64).tiny).sum()
        return float(loss + PENALTY * flat @ flat / 2), both

    start = np.zeros(len(MODES) * seen.shape[2] + 1)
    return np.asarray(minimize(cost, start, jac=True, method="L-BFGS-B").x)


def key_odds(evidence: Floats, flat: Floats, *, caution: float) -> Floats:
    """Chances of the 24 keys, shape (n_items, 24)."""
    return _softmax(_scores(_from_tonics(evidence), flat) / caution)


def write_weights(flat: Floats, path: Path) -> None:
    """Write the table that ``segue.analysis.key_heard`` reads, one row of degrees a line."""
    table = flat[:-1].reshape(len(MODES), len(EVIDENCE), N_PITCH_CLASSES).round(2)
    modes = [
        f' "{mode}": {{\n'
        + ",\n".join(f"  {json.dumps(kind)}: {row.tolist()}" for kind, row in _named(rows))
        + "\n }"
        for mode, rows in zip(MODES, table, strict=True)
    ]
    bias = f' "minor bias": {flat[-1]:.2f}'
    path.write_text("{\n" + ",\n".join([bias, *modes]) + "\n}\n", encoding="utf-8")


def _named(rows: Floats) -> list[tuple[str, Floats]]:
    return list(zip(EVIDENCE, rows, strict=True))


def _from_tonics(evidence: Floats) -> Floats:
    """Evidence as each tonic sees it, shape (n_items, 12, kinds * degrees)."""
    rolled = [np.roll(evidence, -tonic, axis=2) for tonic in range(N_PITCH_CLASSES)]
    return np.stack(rolled, axis=1).reshape(len(evidence), N_PITCH_CLASSES, -1)


def _scores(seen: Floats, flat: Floats) -> Floats:
    weights = flat[:-1].reshape(len(MODES), -1)
    scores = np.moveaxis(seen @ weights.T, 2, 1)
    scores[:, MODES.index("minor")] += flat[-1]
    return scores.reshape(len(seen), len(ALL_KEYS))


def _softmax(scores: Floats) -> Floats:
    odds = np.exp(scores - scores.max(axis=1, keepdims=True))
    return np.asarray(odds / odds.sum(axis=1, keepdims=True))


def _index(folder: Path) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((folder / "index.json").read_text("utf-8"))
    return loaded


if __name__ == "__main__":
    main()
