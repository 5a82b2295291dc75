"""A cheap order of a long set: moved about until no single move helps, many times over.

What no order of a set can cost less than, for sets too long for the exact order.

Songs are let play any number of times, though not again after only one other (A-B-A),
so that the cheapest walk of n places is found at once; a price on each song, paid for
every time it is played beyond the first, is raised where a song is played too often.
Whatever the prices, the walk less the sum of the prices costs no more than any order.

References
----------
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

from segue.setlist.order.exact import step_costs
from segue.setlist.order.problem import OrderProblem

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from segue.setlist.set_list import SetSong

N_ROUNDS: Final = 300
_FIRST_STEP: Final = 1.0
_PATIENCE: Final = 10
"""Rounds without a better bound after which steps are halved."""


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
        cost, visits = _cheapest_walk(step, problem.place_cost + prices[:, None])
        if not math.isfinite(cost):
            return math.inf
        bound = cost - float(prices.sum())
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


def _cheapest_walk(
    step: npt.NDArray[np.float64], place_cost: npt.NDArray[np.float64]
) -> tuple[float, npt.NDArray[np.float64]]:
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
    visits = np.bincount(_traced(links, state), minlength=n).astype(np.float64)
    return float(cost.reshape(-1)[state]), visits


def _traced(links: list[npt.NDArray[np.int64]], state: int) -> list[int]:
    """Songs of the walk that ends in a state, from the last."""
    n = links[0].shape[2] if links else 1
    songs = [state % n]
    for link in reversed(links):
        state = int(link.reshape(-1)[state])
        songs.append(state % n)
    return songs


BROKEN_PIN: Final = 1e3
"""Stands for infinity while searching, so that a broken order still has a way out."""
LONGEST_MOVED: Final = 3
"""Blocks that are moved together at most, as in or-opt."""
N_KICKS: Final = 30
_KICK_PLACES: Final = 4

Blocks = list[tuple[int, ...]]
"""Songs chained by `after`, in order; a song alone is a block of one."""


def cheap_order(
    problem: OrderProblem, songs: tuple[SetSong, ...], *, seed: int = 0, n_kicks: int = N_KICKS
) -> tuple[int, ...] | None:
    """An order that no move of up to three blocks and no reversal makes cheaper.

    Parameters
    ----------
    songs : tuple of SetSong
        For what is chained.
    seed : int
        Of the kicks out of local minima.
    n_kicks : int
        How many.

    Returns
    -------
    tuple of int or None
        None where no order was found that keeps the pins.
    """
    softened = OrderProblem(
        pair_cost=np.where(np.isfinite(problem.pair_cost), problem.pair_cost, BROKEN_PIN),
        place_cost=np.where(np.isfinite(problem.place_cost), problem.place_cost, BROKEN_PIN),
        same_key=problem.same_key,
    )
    blocks = chained(songs)
    if len(_songs(blocks)) < len(songs):
        return None  # what must follow what contradicts itself
    random = np.random.default_rng(seed)
    best = _settled(softened, blocks)
    best_cost = softened.cost(_songs(best))
    for _ in range(n_kicks):
        blocks = _settled(softened, _kicked(best, random))
        cost = softened.cost(_songs(blocks))
        if cost < best_cost:
            best, best_cost = blocks, cost
    order = _songs(best)
    return tuple(order) if math.isfinite(problem.cost(order)) else None


def chained(songs: tuple[SetSong, ...]) -> Blocks:
    """The songs as blocks that `after` holds together, in the order of the set.

    Songs that follow each other in a circle are in no block.
    """
    following = {song.after: n for n, song in enumerate(songs) if song.after is not None}
    blocks = []
    for n, song in enumerate(songs):
        if song.after is None:
            block = [n]
            while (after := following.get(songs[block[-1]].title)) is not None:
                block.append(after)
            blocks.append(tuple(block))
    return blocks


def _settled(problem: OrderProblem, blocks: Blocks) -> Blocks:
    """Downhill by the first move that helps, until none does."""
    cost = problem.cost(_songs(blocks))
    is_better = True
    while is_better:
        is_better = False
        for moved in _moves(blocks):
            moved_cost = problem.cost(_songs(moved))
            if moved_cost < cost - 1e-9:
                blocks, cost, is_better = moved, moved_cost, True
                break
    return blocks


def _moves(blocks: Blocks) -> Iterator[Blocks]:
    n = len(blocks)
    for length in range(1, LONGEST_MOVED + 1):
        for start in range(n - length + 1):
            piece, rest = blocks[start : start + length], blocks[:start] + blocks[start + length :]
            for to in range(len(rest) + 1):
                if to != start:
                    yield rest[:to] + piece + rest[to:]
    for start in range(n - 1):
        for end in range(start + 2, n + 1):
            yield blocks[:start] + blocks[start:end][::-1] + blocks[end:]
            if end - start > LONGEST_MOVED:  # two songs change places
                swapped = blocks.copy()
                swapped[start], swapped[end - 1] = swapped[end - 1], swapped[start]
                yield swapped


def _kicked(blocks: Blocks, random: np.random.Generator) -> Blocks:
    """A double bridge: four stretches in another order."""
    cuts = sorted(random.integers(0, len(blocks) + 1, size=_KICK_PLACES - 1))
    a, b, c, d = (blocks[i:j] for i, j in zip([0, *cuts], [*cuts, len(blocks)], strict=True))
    return a + c + b + d


def _songs(blocks: Blocks) -> list[int]:
    return [n for block in blocks for n in block]
