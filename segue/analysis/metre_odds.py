"""How likely each way to count is, on the evidence of `metre`.

A weighted sum of the evidence (a conditional logit) is one more column for a few hundred
shallow decision trees, boosted by gradient [Fr01]_; their sum is the log odds.

The weights and trees in ``metre_model.npz`` were learned by ``benchmarks/learn_metre.py`` from
the ears benchmark's odd seeds: 1 (120 items), 11, 103, 105, 201 (150 each), 203 and 207 (800
each), 2290 edges in all, and from 80 plain clicks and drum loops. Even seeds share no score
with them. What the beat net holds is weighed against these odds with the weights in
``metre_net.json``; of the likeliest ways, trees that see both at once have half a say
(``metre_ways.npz``). Both were fitted by ``benchmarks/weigh_net.py`` on songs that the net had not
learned from; over a mere click neither is asked.

References
----------
.. [Fr01] J. H. Friedman, "Greedy function approximation: A gradient boosting machine",
   Annals of Statistics 29(5), 2001, 1189-1232.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from segue.analysis.envelope import stored_tables
from segue.analysis.metre import METRES, BeatLevel, bar_names, beat_names, leanings
from segue.analysis.metre_net import NET_COLUMNS

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32

Place = tuple[int, int, int]
"""Number of a level, metre, and place of the downbeat."""
_LEANINGS: Final = ("triple", "tempo", "quick")
N_LIKELY: Final = 45
"""Ways to count that the trees compare: the others were never right of those that were learned
from."""
TREES_SHARE: Final = 0.5
"""What the trees count beside the sum. On songs that neither was fitted on the two together hear
more than each alone; see ``benchmarks/weigh_net.py``."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """What was learned: trees are rows of nodes, a leaf points at itself.

    Parameters
    ----------
    weights : ndarray, shape (n_columns,)
        Of the sum.
    column, left, right : ndarray, shape (n_trees, n_nodes)
        What a node looks at, and where it goes on.
    threshold, value : ndarray, shape (n_trees, n_nodes)
        Up to where it goes left, and what a leaf adds.
    """

    weights: Floats32
    column: npt.NDArray[np.int16]
    left: npt.NDArray[np.int16]
    right: npt.NDArray[np.int16]
    threshold: Floats32
    value: Floats32


def log_odds(levels: list[BeatLevel], *, bareness: float = 0.0) -> tuple[list[Place], Floats]:
    """All ways to count some levels, and the log odds of each.

    Parameters
    ----------
    levels : list of BeatLevel
        At least one.
    bareness : float
        How far the sound is a mere click or drum loop, 0..1: the net has met none, and is not
        asked.

    Returns
    -------
    places : list of Place
        The ways.
    odds : ndarray, shape (n_places,)
        Log odds of each, up to a constant.
    """
    ways = ways_of(levels)
    weights = _net_weights()
    summed = weights[0] * ways.by_evidence + ways.by_net @ weights[1:]
    likely = np.argsort(-summed, kind="stable")[:N_LIKELY]
    grown = tree_sum(_ways_model(), way_columns(ways, summed, likely))
    by_trees = np.full(len(summed), grown.min())
    by_trees[likely] = grown
    with_net = (1.0 - TREES_SHARE) * (summed - summed.max()) + TREES_SHARE * by_trees
    return ways.places, bareness * ways.by_evidence + (1.0 - bareness) * with_net


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """All ways to count some levels, and what is known of each.

    Parameters
    ----------
    columns : ndarray, shape (n_places, n_columns)
        Their evidence.
    by_evidence : ndarray, shape (n_places,)
        Log odds of each without the net.
    by_net : ndarray, shape (n_places, n_net_columns)
        What the net says of each.
    """

    places: list[Place]
    columns: Floats32
    by_evidence: Floats
    by_net: Floats


def ways_of(levels: list[BeatLevel]) -> Ways:
    """All ways to count some levels."""
    places, columns = evidence_columns(levels)
    model = _model()
    by_evidence = tree_sum(model, with_sum(columns, model.weights, places))
    by_net = net_columns(levels, places)
    return Ways(places=places, columns=columns, by_evidence=by_evidence, by_net=by_net)


def way_columns(ways: Ways, summed: Floats, likely: npt.NDArray[np.intp]) -> Floats32:
    """What the trees see of the likely ways: much of it against the best of them.

    Parameters
    ----------
    summed : ndarray, shape (n_places,)
        Log odds by evidence and net.
    likely : ndarray, shape (n_likely,)
        Numbers of the ways that are compared.
    """
    metres = np.array([ways.places[number][1] for number in likely], dtype=np.float64)
    held, odds, total = ways.by_net[likely], ways.by_evidence[likely], summed[likely]
    told = [total - total.max(), odds - odds.max(), metres]
    both = np.concatenate([held, held - held.max(axis=0)], axis=1)
    seen = [np.stack(told, axis=1), both, ways.columns[likely]]
    return np.concatenate(seen, axis=1, dtype=np.float32)


def net_columns(levels: list[BeatLevel], places: list[Place]) -> Floats:
    """What the net says of each way to count, shape (n_places, len(NET_COLUMNS))."""
    return np.array([levels[number].by_net[metre][phase] for number, metre, phase in places])


@lru_cache(maxsize=1)
def _net_weights() -> Floats:
    """Weight of the odds by evidence, and of each of `NET_COLUMNS`."""
    place = resources.files("segue.analysis").joinpath("metre_net.json")
    table = json.loads(place.read_text(encoding="utf-8"))
    return np.array([table[name] for name in ("by evidence", *NET_COLUMNS)])


@lru_cache(maxsize=1)
def column_numbers() -> dict[str, int]:
    """Number of each column of evidence, by name."""
    names = beat_names()
    for metre in METRES:
        names += [name for name in bar_names(metre) if name not in names]
        names += [f"{metre} {leaning}" for leaning in _LEANINGS]
    return {name: number for number, name in enumerate(dict.fromkeys(names))}


@lru_cache(maxsize=16)
def _bar_columns(metre: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Which pieces of evidence for a metre have a column, and its number."""
    numbers = column_numbers()
    names = bar_names(metre) + [f"{metre} {leaning}" for leaning in _LEANINGS]
    known = [i for i, name in enumerate(names) if name in numbers]
    return np.array(known), np.array([numbers[names[i]] for i in known])


def evidence_columns(levels: list[BeatLevel]) -> tuple[list[Place], Floats32]:
    """All ways to count some levels, and their evidence, shape (n_places, n_columns)."""
    places: list[Place] = []
    blocks = []
    for number, level in enumerate(levels):
        leaning = leanings(level.for_beats)
        for metre, rows in level.for_bars.items():
            block = np.zeros((metre, len(column_numbers())), dtype=np.float32)
            block[:, : len(level.for_beats)] = level.for_beats
            all_rows = np.concatenate([rows, np.tile(leaning, (metre, 1))], axis=1)
            known, columns = _bar_columns(metre)
            block[:, columns] = all_rows[:, known]
            blocks.append(block)
            places += [(number, metre, phase) for phase in range(metre)]
    return places, np.concatenate(blocks)


def with_sum(columns: Floats32, weights: Floats32, places: list[Place]) -> Floats32:
    """The evidence with two more columns: its weighted sum below the best one, and the metre."""
    total = columns @ weights
    metres = np.array([metre for _, metre, _ in places], dtype=np.float32)
    return np.column_stack([columns, total - total.max(), metres]).astype(np.float32)


def tree_sum(model: Model, columns: Floats32) -> Floats:
    """Sum of the leaves that each row falls into, shape (n_rows,)."""
    total: Floats = _leaf_sums(
        columns, model.column, model.left, model.right, model.threshold, model.value
    )
    return total


@njit(cache=True)
def _leaf_sums(columns, column, left, right, threshold, value):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202 - numba infers
    """Each row's way through all trees."""
    total = np.zeros(len(columns))
    for row in range(len(columns)):
        for tree in range(len(column)):
            node = 0
            while left[tree, node] != node:
                is_left = columns[row, column[tree, node]] <= threshold[tree, node]
                node = left[tree, node] if is_left else right[tree, node]
            total[row] += value[tree, node]
    return total


@lru_cache(maxsize=1)
def _ways_model() -> Model:
    return _stored("metre_ways.npz")


@lru_cache(maxsize=1)
def _model() -> Model:
    return _stored("metre_model.npz")


def _stored(name: str) -> Model:
    tables = stored_tables(name)
    if tables.pop("names").tolist() != list(column_numbers()):
        raise ValueError(f"{name}: made for other evidence; learn it again")
    return Model(**tables)
