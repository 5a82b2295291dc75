"""From a finding in its own unit to a score of 0..1."""

from __future__ import annotations

import math
from typing import Final

TAIL: Final = 0.1
"""Score at the bad anchor: worse still fades from here towards 0, so more of a fault is always
told from less."""


def falling(value: float, *, good: float, bad: float) -> float:
    """Score of something to be kept small: 1 up to `good`, linear to `TAIL` at `bad`, then fading.

    Examples
    --------
    >>> falling(3.0, good=1.0, bad=5.0), falling(0.0, good=1.0, bad=5.0)
    (0.55, 1.0)
    >>> round(falling(9.0, good=1.0, bad=5.0), 3)
    0.037
    """
    if math.isnan(value):
        return 0.0
    way = (value - good) / (bad - good)
    if way > 1.0:
        return TAIL * math.exp(1.0 - way)
    return 1.0 - (1.0 - TAIL) * max(way, 0.0)


def rising(value: float, *, bad: float, good: float) -> float:
    """Score of something to be had in plenty: 0 up to `bad`, linear, 1 from `good` on.

    Examples
    --------
    >>> rising(6.0, bad=0.0, good=8.0)
    0.75
    """
    if math.isnan(value):
        return 0.0
    return min(max((value - bad) / (good - bad), 0.0), 1.0)
