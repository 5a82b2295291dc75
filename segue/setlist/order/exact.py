"""The cheapest order of a set, exactly, by dynamic programming over subsets.

References
----------
.. [HK62] M. Held and R. M. Karp, "A dynamic programming approach to sequencing
   problems", Journal of the Society for Industrial and Applied Mathematics
   10(1), 1962, 196-210.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.setlist.order.problem import THREE_IN_A_KEY

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.setlist.order.problem import OrderProblem

MOST_EXACT: Final = 14
"""Up to here the exact order takes a second or so."""


def cheapest_order(problem: OrderProblem) -> tuple[int, ...] | None:
    """The order of least cost [HK62]_, or None where the pins leave none.

    A state is the set of songs played, the last of them, and whether it came in the key in which
    the one before it ended: as much as the cost of what follows depends on.

    Parameters
    ----------
    problem : OrderProblem
        At most `MOST_EXACT` songs.

    Returns
    -------
    tuple of int or None
        Indices of songs.
    """
    n = problem.n_songs
    best = np.full((1 << n, 2, n), math.inf)
    for j in range(n):
        best[1 << j, 0, j] = problem.place_cost[j, 0]
    came_from = np.zeros((1 << n, 2, n), dtype=np.int16)
    step = step_costs(problem)
    for played in range(1, 1 << n):
        if not np.isfinite(best[played]).any():
            continue
        place = played.bit_count()
        for j in (j for j in range(n) if not played >> j & 1):
            through = best[played][:, None, :] + step[:, :, :, j]  # stayed, stays, last
            flat = through.transpose(1, 0, 2).reshape(2, -1)
            least = flat.argmin(axis=1)
            cost = flat[(0, 1), least] + (problem.place_cost[j, place] if place < n else 0.0)
            best[played | 1 << j, :, j] = cost
            came_from[played | 1 << j, :, j] = least
    return _traced(best, came_from, n)


def step_costs(problem: OrderProblem) -> npt.NDArray[np.float64]:
    """Cost of song i before song j by whether i stayed in its key and whether j stays."""
    n = problem.n_songs
    step = np.full((2, 2, n, n), math.inf)
    step[:, 0] = np.where(problem.same_key, math.inf, problem.pair_cost)
    step[:, 1] = np.where(problem.same_key, problem.pair_cost, math.inf)
    step[1, 1] += THREE_IN_A_KEY
    return step


def _traced(
    best: npt.NDArray[np.float64], came_from: npt.NDArray[np.int16], n: int
) -> tuple[int, ...] | None:
    played = (1 << n) - 1
    if not np.isfinite(best[played]).any():
        return None
    stayed, last = divmod(int(best[played].argmin()), n)
    backwards = [last]
    while played & (played - 1):
        before = int(came_from[played, stayed, last])
        played ^= 1 << last
        stayed, last = divmod(before, n)
        backwards.append(last)
    return tuple(reversed(backwards))
