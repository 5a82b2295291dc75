"""A cheap order of a long set: moved about until no single move helps, many times over."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.setlist.order_problem import OrderProblem

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.setlist.set_list import SetSong

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
    problem : OrderProblem
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
