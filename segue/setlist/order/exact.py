"""The cheapest order of a set, exactly, and for long sets what no order can cost less than.

The exact order is found by dynamic programming over subsets. For the bound, songs are let
play any number of times, though not again after only one other (A-B-A), so that the
cheapest walk of n places is found at once; a price on each song, paid for every time it
is played beyond the first, is raised where a song is played too often. Whatever the
prices, the walk less the sum of the prices costs no more than any order.

References
----------
.. [HK62] M. Held and R. M. Karp, "A dynamic programming approach to sequencing
   problems", Journal of the Society for Industrial and Applied Mathematics
   10(1), 1962, 196-210.
.. [PQ78] J.-C. Picard and M. Queyranne, "The time-dependent traveling salesman
   problem and its application to the tardiness problem in one-machine
   scheduling", Operations Research 26(1), 1978, 86-110.
.. [HPQV80] D. J. Houck, J.-C. Picard, M. Queyranne and R. R. Vemuganti, "The travelling
   salesman problem as a constrained shortest path problem", Opsearch 17, 1980,
   93-109 (from memory).
.. [HWC74] M. Held, P. Wolfe and H. P. Crowder, "Validation of subgradient
   optimization", Mathematical Programming 6, 1974, 62-88.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.setlist.order import THREE_IN_A_KEY, OrderProblem

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Ints


MOST_EXACT: Final = 14
"""Up to here the exact order takes a second or so."""
N_ROUNDS: Final = 300  # of raising the bound by subgradients; by judgement
_FIRST_STEP: Final = 1.0  # length of the first, as a share of what Polyak's rule gives
_PATIENCE: Final = 10
"""Rounds without a better bound after which steps are halved."""


def cheapest_order(problem: OrderProblem) -> tuple[int, ...] | None:
    """The order of least cost [HK62]_, or None where the pins leave none.

    A state is the set of songs played, the last of them, and whether it came in the key in which
    the one before it ended: as much as the cost of what follows depends on.

    Indices of songs.

    Parameters
    ----------
    problem : OrderProblem
        At most `MOST_EXACT` songs.
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


def step_costs(problem: OrderProblem) -> Floats:
    """Cost of song i before song j by whether i stayed in its key and whether j stays."""
    n = problem.n_songs
    step = np.full((2, 2, n, n), math.inf)
    step[:, 0] = np.where(problem.same_key, math.inf, problem.pair_cost)
    step[:, 1] = np.where(problem.same_key, problem.pair_cost, math.inf)
    step[1, 1] += THREE_IN_A_KEY
    return step


def _traced(best: Floats, came_from: npt.NDArray[np.int16], n: int) -> tuple[int, ...] | None:
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


def lower_bound(problem: OrderProblem, *, upper: float) -> float:
    """A cost that no order goes below [PQ78]_ [HPQV80]_, raised by subgradients [HWC74]_.

    Parameters
    ----------
    upper : float
        Cost of a known order; it only sets the length of the steps.

    Returns
    -------
    float
        Infinite where no order keeps the pins; finite does not mean that one does.
    """
    n = problem.n_songs
    step = step_costs(problem)
    prices = np.zeros(n)
    best, length, waited = -math.inf, _FIRST_STEP, 0
    for _ in range(N_ROUNDS):
        # A walk has as many places as there are songs, so the prices sum to nothing.
        bound, visits = _cheapest_walk(step, problem.place_cost + prices[:, None])
        if not math.isfinite(bound):
            return math.inf
        waited = 0 if bound > best else waited + 1
        best = max(best, bound)
        excess = visits - 1.0
        norm = float(excess @ excess)
        if norm == 0.0:
            return best  # the walk is an order
        if waited == _PATIENCE:
            length, waited = length / 2.0, 0
        prices += length * max(upper - bound, 1e-6) / norm * excess
    return best


def _cheapest_walk(step: Floats, place_cost: Floats) -> tuple[float, Floats]:
    """Cost of the cheapest walk of n places without A-B-A, and how often it plays each song.

    For each state (stays in the key, song) there are two walks: the cheapest, and the cheapest
    of those that come from another song than that one. One of them may go on to any song.
    """
    n = len(place_cost)
    flat_step = step.transpose(1, 3, 0, 2).reshape(2, n, 1, 2 * n)  # stays, next, -, (stayed, last)
    cost = np.full((2, 2, n), math.inf)  # walk, stays, song
    cost[0, 0] = place_cost[:, 0]
    came_from = np.full((2, 2, n), -1)  # song
    links = []
    for place in range(1, n):
        is_back = came_from.reshape(1, 2, 2 * n) == np.arange(n)[:, None, None]
        through = flat_step + np.where(is_back, math.inf, cost.reshape(1, 2, 2 * n))
        through = through.reshape(2, n, 4 * n)  # (walk, stayed, last)
        first = through.argmin(axis=2)
        is_same = np.arange(4 * n) % n == (first % n)[:, :, None]
        second = np.where(is_same, math.inf, through).argmin(axis=2)
        link = np.stack([first, second])
        cost = np.take_along_axis(through[None], link[..., None], axis=3)[..., 0]
        cost[1][first % n == second % n] = math.inf  # there was no other song to come from
        cost = cost + place_cost[:, place]
        came_from = link % n
        links.append(link)
    state = int(cost.argmin())
    visits = np.bincount(_walked(links, state), minlength=n).astype(np.float64)
    return float(cost.reshape(-1)[state]), visits


def _walked(links: list[Ints], state: int) -> list[int]:
    """Songs of the walk that ends in a state, from the last."""
    n = links[0].shape[2] if links else 1
    songs = [state % n]
    for link in reversed(links):
        state = int(link.reshape(-1)[state])
        songs.append(state % n)
    return songs
