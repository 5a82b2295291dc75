"""What a band's first decisions say: which one thing they go by, if they go by any.

Few decisions fit no weights, but they tell between some simple stories: that the score is right,
that the choice was anybody's guess, or that one measure counts for as much as all others together.
Each story is weighed by how likely it makes the decisions [KR95]_, and where tastes are likely
enough, weights are their mean [HMRV99]_.

References
----------
.. [KR95] R. E. Kass and A. E. Raftery, "Bayes factors", Journal of the American Statistical
   Association 90(430), 1995, 773-795.
.. [HMRV99] J. A. Hoeting, D. Madigan, A. E. Raftery and C. T. Volinsky, "Bayesian model averaging:
   a tutorial", Statistical Science 14(4), 1999, 382-417.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.score.learned_weights import SHARPNESS, log_share, overall_scores
from segue.score.weights import weights_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from segue.score.learned_weights import Decision

LEAST_FOR_A_TASTE: Final = 5
"""Fewer decisions tell no taste from chance."""
SURE: Final = 0.45
"""Probability that a band goes by one thing from which it is believed: of bands that choose at
random, one in twenty passes on segues of real songs. Chosen by `benchmarks.taste`."""
_PRIOR: Final = {"table": 0.4, "guess": 0.3}
"""Probabilities beforehand that the score is right and that the choice is a guess; the rest is
shared by the tastes. Set by judgement."""
_NO_TASTE: Final = frozenset({"key_distance", "true_peak", "clipping", "click_leak"})
"""What all options of a pair share, and what nobody likes."""


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
    logs = {name: math.log(each) + _likelihood(decisions, w) for name, w in tastes.items()}
    logs["table"] = math.log(_PRIOR["table"]) + _likelihood(decisions, start)
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


def _likelihood(decisions: Sequence[Decision], weights: Mapping[str, float]) -> float:
    """Log likelihood of decisions by the scores that weights give."""
    return sum(log_share(SHARPNESS * overall_scores(d, weights), d.chosen) for d in decisions)
