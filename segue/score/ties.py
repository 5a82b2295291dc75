"""When two candidates score the same: a difference below the noise of the measurement is a tie."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

TIE_SCORE: Final = 0.006
"""Differences below it mean nothing: twice the spread of the overall score (one sigma 0.0030) when
a candidate is moved to another key or played by other drums, measured by `benchmarks.score`."""


def ties_with_next_better(best_first: Sequence[float]) -> tuple[bool, ...]:
    """For each overall score, whether it ties with the one before it; the first never does.

    Examples
    --------
    >>> ties_with_next_better([0.9, 0.895, 0.8])
    (False, True, False)
    """
    gaps = [a - b for a, b in pairwise(best_first)]
    return (False, *(gap < TIE_SCORE for gap in gaps))[: len(best_first)]
