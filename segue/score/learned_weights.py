"""What a band's decisions say about the score: agreement, the one thing they go by, fitted weights.

Few decisions fit no weights, but they tell between some simple stories: that the score is right,
that the choice was anybody's guess, or that one measure counts for as much as all others together.
Each story is weighed by how likely it makes the decisions [KR95]_, and where tastes are likely
enough, weights are their mean [HMRV99]_.

References
----------
.. [W27] E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
   Journal of the American Statistical Association 22(158), 1927, 209-212.
.. [M74] D. McFadden, "Conditional logit analysis of qualitative choice behavior", in
   P. Zarembka (ed.), Frontiers in Econometrics, Academic Press, 1974, 105-142.
.. [KR95] R. E. Kass and A. E. Raftery, "Bayes factors", Journal of the American Statistical
   Association 90(430), 1995, 773-795.
.. [HMRV99] J. A. Hoeting, D. Madigan, A. E. Raftery and C. T. Volinsky, "Bayesian model averaging:
   a tutorial", Statistical Science 14(4), 1999, 382-417.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.score.weights import WEIGHTS, weights_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from segue.arrays import Floats


LEAST_DECISIONS: Final = 20
"""Fewer decisions fit nothing that would hold."""
N_FOLDS: Final = 5  # parts of the decisions, each judged by weights of the others
SHARPNESS: Final = 20.0
"""How surely the better scored one is chosen, as a start: 0.05 of score gives odds of 2.7."""
_HOLD: Final = 2.0
"""Pull of the fitted weights to the table, in squared log ratio. Chosen on simulated bands."""
LEAST_FOR_A_TASTE: Final = 5
"""Fewer decisions tell no taste from chance."""
SURE: Final = 0.4
"""Probability that a band goes by one thing from which it is believed: of bands that choose at
random, one in fifteen passes on segues of real songs. Chosen by `benchmarks.taste`."""
_PRIOR: Final = {"table": 0.4, "guess": 0.3}
"""Probabilities beforehand that the score is right and that the choice is a guess; the rest is
shared by the tastes. Set by judgement."""
_NO_TASTE: Final = frozenset({"key_distance", "true_peak", "clipping", "click_leak"})
"""What all options of a pair share, and what nobody likes."""
_Z95: Final = 1.959963984540054  # quantile of the normal distribution for 95 % on both sides
_NAMES: Final = tuple(WEIGHTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One choice among the candidates of a run.

    Parameters
    ----------
    scores : tuple of dict
        Score of each measure by its name, for each candidate.
    chosen : int
        Index of the one that was chosen.
    """

    scores: tuple[Mapping[str, float], ...]
    chosen: int

    def __post_init__(self) -> None:
        if not 0 <= self.chosen < len(self.scores):
            raise ValueError(f"choice {self.chosen} is not among {len(self.scores)} candidates")


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How often the best scored candidate was the one chosen.

    Parameters
    ----------
    low, high : float
        95 % interval of the share [W27]_.
    by_chance : float
        Share that a blind guess would have.
    """

    n_agreed: int
    n_decisions: int
    low: float
    high: float
    by_chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedWeights:
    """Weights learned from decisions, and whether they do better on decisions unseen.

    Parameters
    ----------
    weights : dict
        By name of the measure, with the sum of the table's.
    held_out_table, held_out_fitted : int
        Decisions agreed with when they were left out of the fit.
    gain_nats : float
        Gain of the mean log likelihood of a decision left out; above 0 is better than the table.
    """

    weights: dict[str, float]
    held_out_table: int
    held_out_fitted: int
    gain_nats: float


def wilson_interval(n_hits: int, n: int) -> tuple[float, float]:
    """95 % interval of a share [W27]_.

    Examples
    --------
    >>> tuple(round(x, 3) for x in wilson_interval(8, 10))
    (0.49, 0.943)
    """
    if n == 0:
        return 0.0, 1.0
    share, z2 = n_hits / n, _Z95**2
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = _Z95 / (1 + z2 / n) * math.sqrt(share * (1 - share) / n + z2 / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)


def agreement(decisions: Sequence[Decision], weights: Mapping[str, float]) -> Agreement:
    """How often weights put the chosen candidate first."""
    hits = sum(_agrees(overall_scores(d, weights), d.chosen) for d in decisions)
    low, high = wilson_interval(hits, len(decisions))
    chance = sum(1.0 / len(d.scores) for d in decisions) / max(len(decisions), 1)
    return Agreement(
        n_agreed=hits, n_decisions=len(decisions), low=low, high=high, by_chance=chance
    )


def fitted_weights(
    decisions: Sequence[Decision], table: Mapping[str, float] | None = None
) -> FittedWeights:
    """Weights that make the decisions likely [M74]_, held near the table.

    Parameters
    ----------
    decisions : sequence of Decision
        At least `LEAST_DECISIONS`.
    table : mapping, optional
        Weights to start from and to stay near; the balanced ones if not given.

    Raises
    ------
    ValueError
        If there are too few decisions.
    """
    if len(decisions) < LEAST_DECISIONS:
        raise ValueError(f"{len(decisions)} decisions are fewer than {LEAST_DECISIONS}")
    start = dict(table or weights_for(None))
    n_table, n_fitted, gain = 0, 0, 0.0
    for fold in range(N_FOLDS):
        seen = [d for n, d in enumerate(decisions) if n % N_FOLDS != fold]
        sharp, (fitted, fitted_sharp) = _fit_sharpness(seen, start), _fit(seen, start)
        for d in decisions[fold::N_FOLDS]:
            old, new = overall_scores(d, start), overall_scores(d, fitted)
            n_table += _agrees(old, d.chosen)
            n_fitted += _agrees(new, d.chosen)
            gain += log_share(fitted_sharp * new, d.chosen) - log_share(sharp * old, d.chosen)
    return FittedWeights(
        weights=_fit(decisions, start)[0],
        held_out_table=n_table,
        held_out_fitted=n_fitted,
        gain_nats=gain / len(decisions),
    )


def _fit(
    decisions: Sequence[Decision], table: Mapping[str, float]
) -> tuple[dict[str, float], float]:
    """Log ratios of the weights to the table, and the sharpness, by penalised likelihood."""
    from scipy.optimize import minimize

    scores = [_matrix(d) for d in decisions]
    base = np.array([table[name] for name in _NAMES])

    def loss(x: Floats) -> tuple[float, Floats]:
        total, slope = _HOLD * float(x @ x), 2.0 * _HOLD * x
        for rows, decision in zip(scores, decisions, strict=True):
            likelihood, rise = _likelihood(rows, decision.chosen, base, x)
            total, slope = total - likelihood, slope - rise
        return total, slope

    found = minimize(loss, np.zeros(len(base) + 1), method="L-BFGS-B", jac=True)
    weights = base * np.exp(found.x[:-1])
    weights *= base.sum() / weights.sum()
    fitted = {name: float(w) for name, w in zip(_NAMES, weights, strict=True)}
    return fitted, SHARPNESS * math.exp(float(found.x[-1]))


def _likelihood(scores: Floats, chosen: int, base: Floats, x: Floats) -> tuple[float, Floats]:
    """Log likelihood of one decision and its slope by the log ratios and the log sharpness."""
    sharpness = SHARPNESS * math.exp(float(x[-1]))
    weights = np.where(np.isnan(scores), 0.0, base * np.exp(x[:-1]))
    weights /= weights.sum(axis=1, keepdims=True)
    known = np.nan_to_num(scores)
    means = (weights * known).sum(axis=1)
    shares = np.exp(sharpness * (means - means.max()))
    shares /= shares.sum()
    pull = sharpness * (np.eye(len(means))[chosen] - shares)
    slopes = weights * (known - means[:, np.newaxis])
    return float(np.log(shares[chosen])), np.append(pull @ slopes, pull @ means)


def _fit_sharpness(decisions: Sequence[Decision], table: Mapping[str, float]) -> float:
    """How surely the table's better scored candidate is chosen, so that it is judged fairly."""
    from scipy.optimize import minimize_scalar

    logits = [(overall_scores(d, table), d.chosen) for d in decisions]

    def loss(x: float) -> float:
        sharp = SHARPNESS * math.exp(x)
        return _HOLD * x * x - sum(log_share(sharp * row, chosen) for row, chosen in logits)

    return SHARPNESS * math.exp(float(minimize_scalar(loss, bounds=(-4, 4), method="bounded").x))


def _matrix(decision: Decision) -> Floats:
    """Scores, shape (n_candidates, n_measures); NaN where a measure does not apply."""
    rows = [[scores.get(name, math.nan) for name in _NAMES] for scores in decision.scores]
    return np.array(rows, dtype=np.float64)


def _means(scores: Floats, weights: Floats) -> Floats:
    counted = np.where(np.isnan(scores), 0.0, weights)
    return np.asarray(np.nansum(scores * weights, axis=1) / counted.sum(axis=1))


def overall_scores(decision: Decision, weights: Mapping[str, float]) -> Floats:
    """Overall score of each candidate."""
    return _means(_matrix(decision), np.array([weights[name] for name in _NAMES]))


def _agrees(logits: Floats, chosen: int) -> bool:
    return bool(np.argmax(logits) == chosen)


def log_share(logits: Floats, chosen: int) -> float:
    """Log probability of a choice whose options have these log odds."""
    top = float(logits.max())
    return float(logits[chosen] - top - np.log(np.exp(logits - top).sum()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Taste:
    """What decisions go by.

    Parameters
    ----------
    sure : float
        Probability that they go by one measure, 0..1.
    measures : dict
        Probability of each measure, the likeliest first; adds up to `sure`.
    weights : dict
        By name of the measure, with the sum of the table's: the table's own unless `is_found`.
    """

    sure: float
    measures: dict[str, float]
    weights: dict[str, float]

    @property
    def is_found(self) -> bool:
        """Whether the decisions go by one thing surely enough to follow them."""
        return self.sure >= SURE


def taste_of(decisions: Sequence[Decision], table: Mapping[str, float] | None = None) -> Taste:
    """The one thing that decisions go by.

    Parameters
    ----------
    decisions : sequence of Decision
        At least `LEAST_FOR_A_TASTE`.
    table : mapping, optional
        Weights of the score; the balanced ones if not given.

    Raises
    ------
    ValueError
        If there are too few decisions.
    """
    if len(decisions) < LEAST_FOR_A_TASTE:
        raise ValueError(f"{len(decisions)} decisions are fewer than {LEAST_FOR_A_TASTE}")
    start = dict(table or weights_for(None))
    tastes = {name: _by(name, start) for name in start if name not in _NO_TASTE}
    each = (1.0 - sum(_PRIOR.values())) / len(tastes)
    logs = {name: math.log(each) + _log_likelihood(decisions, w) for name, w in tastes.items()}
    logs["table"] = math.log(_PRIOR["table"]) + _log_likelihood(decisions, start)
    logs["guess"] = math.log(_PRIOR["guess"]) - sum(math.log(len(d.scores)) for d in decisions)
    top = max(logs.values())
    odds = {name: math.exp(log - top) for name, log in logs.items()}
    chances = {name: odds[name] / sum(odds.values()) for name in tastes}
    sure = sum(chances.values())
    weights = start
    if sure >= SURE:
        weights = {
            name: sum(chances[by] * tastes[by][name] for by in tastes) / sure for name in start
        }
    ranked = sorted(chances.items(), key=lambda entry: -entry[1])
    return Taste(sure=sure, measures=dict(ranked), weights=weights)


def _by(name: str, table: Mapping[str, float]) -> dict[str, float]:
    """The table with one measure counting for as much as all others together."""
    whole = sum(table.values())
    others = whole - table[name]
    return {of: whole / 2 if of == name else w * whole / 2 / others for of, w in table.items()}


def _log_likelihood(decisions: Sequence[Decision], weights: Mapping[str, float]) -> float:
    """Log likelihood of decisions by the scores that weights give."""
    return sum(log_share(SHARPNESS * overall_scores(d, weights), d.chosen) for d in decisions)
