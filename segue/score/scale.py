"""From a finding in its own unit to a score of 0..1, linear between two anchors."""

from __future__ import annotations

import math


def falling(value: float, *, good: float, bad: float) -> float:
    """Score of something to be kept small: 1 up to `good`, 0 from `bad` on.

    Examples
    --------
    >>> falling(3.0, good=1.0, bad=5.0), falling(0.0, good=1.0, bad=5.0)
    (0.5, 1.0)
    """
    if math.isnan(value):
        return 0.0
    return min(max((bad - value) / (bad - good), 0.0), 1.0)


def rising(value: float, *, bad: float, good: float) -> float:
    """Score of something to be had in plenty: 0 up to `bad`, 1 from `good` on.

    Examples
    --------
    >>> rising(6.0, bad=0.0, good=8.0)
    0.75
    """
    return falling(-value, good=-good, bad=-bad)
