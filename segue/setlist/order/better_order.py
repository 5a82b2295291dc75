"""A better order: exact for sets of usual length, with a proven gap for longer ones.

A long set is moved about until no single move helps, many times over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.errors import OptionError
from segue.setlist.order import OrderProblem, pinned
from segue.setlist.order.exact import MOST_EXACT, cheapest_order, lower_bound

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.setlist.set_list import SetSong

BROKEN_PIN: Final = 1e3
"""Stands for infinity while searching, so that a broken order still has a way out."""
LONGEST_MOVED: Final = 3
"""Blocks that are moved together at most, as in or-opt."""
N_KICKS: Final = 30  # times that an order is broken up and mended; by judgement
_KICK_PLACES: Final = 4  # pieces that it is broken into: a double bridge has four

Blocks = list[tuple[int, ...]]
"""Songs chained by `after`, in order; a song alone is a block of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BetterOrder:
    """An order that is proposed.

    Parameters
    ----------
    order : tuple of int
        Indices of the songs as written.
    old_cost, new_cost : float
        By the documented weights; the old one is infinite where it breaks a pin.
    least_cost : float
        Proven: no order costs less. The same as `new_cost` where the order is exact.
    """

    order: tuple[int, ...]
    old_cost: float
    new_cost: float
    least_cost: float
    is_exact: bool

    @property
    def gap(self) -> float:
        """How far from the best the order can be at most, as a share of its cost, 0..1."""
        if self.is_exact or self.new_cost <= 0.0:
            return 0.0
        return max(0.0, (self.new_cost - max(self.least_cost, 0.0)) / self.new_cost)


def better_order(
    problem: OrderProblem, songs: tuple[SetSong, ...], *, most_exact: int = MOST_EXACT
) -> BetterOrder:
    """The cheapest order that keeps every pin.

    The order as written where nothing cheaper was found.

    Parameters
    ----------
    most_exact : int
        Sets of more songs are searched, not solved.

    Raises
    ------
    OptionError
        If no order keeps the pins, or none was found.
    """
    _refuse_one_place(songs)
    _refuse_circle(songs)
    as_written = tuple(range(len(songs)))
    old_cost = problem.cost(as_written)
    is_exact = len(songs) <= most_exact
    order = cheapest_order(problem) if is_exact else cheap_order(problem, songs)
    if order is None:
        raise OptionError(_no_order(songs, is_exact=is_exact))
    cost = problem.cost(order)
    if old_cost <= cost:
        order, cost = as_written, old_cost
    least = cost if is_exact else min(lower_bound(problem, upper=cost), cost)
    return BetterOrder(
        order=order, old_cost=old_cost, new_cost=cost, least_cost=least, is_exact=is_exact
    )


def _refuse_one_place(songs: tuple[SetSong, ...]) -> None:
    """Two songs at one place, or one song at two."""
    held: dict[int, tuple[str, str]] = {}
    for song in songs:
        places = {1: "opens"} if song.opens else {}
        places |= {len(songs): "closes"} if song.closes and len(songs) not in places else {}
        places |= {song.at: f"at = {song.at}"} if song.at and song.at not in places else {}
        if len(places) > 1:
            pins = " and ".join(f"'{pin}'" for pin in places.values())
            raise OptionError(f"{_NO_ORDER}: '{song.title}' has both {pins}; take one out.")
        for place, pin in places.items():
            if place in held:
                other, its_pin = held[place]
                raise OptionError(
                    f"{_NO_ORDER}: '{other}' ('{its_pin}') and '{song.title}' ('{pin}') both want "
                    f"place {place}; take one out."
                )
            held[place] = (song.title, pin)


_NO_ORDER: Final = "no order keeps all your fixed places"


def _refuse_circle(songs: tuple[SetSong, ...]) -> None:
    followed: dict[str, str] = {}
    for song in songs:
        if song.after is None:
            continue
        if song.after in followed:
            raise OptionError(
                f"{_NO_ORDER}: '{followed[song.after]}' and '{song.title}' must both come right "
                f" after '{song.after}'; take one 'after' out."
            )
        followed[song.after] = song.title
    held = {n for block in chained(songs) for n in block}
    circle = [song.title for n, song in enumerate(songs) if n not in held]
    if circle:
        raise OptionError(
            f"{_NO_ORDER}: {', '.join(circle)} follow each other in a circle; take one 'after' out."
        )


def _no_order(songs: tuple[SetSong, ...], *, is_exact: bool) -> str:
    """Why there is none: the pin without which there is one, where one pin is enough."""
    if not is_exact:
        return (
            "no order was found that keeps all your fixed places: take one out, or check them for "
            "conflicts."
        )
    n = len(songs)
    apart = np.diag(np.full(n, np.inf))
    free = OrderProblem(
        pair_cost=apart, place_cost=np.zeros((n, n)), same_key=np.zeros((n, n), dtype=bool)
    )
    for words, loosened in _loosened(songs):
        if cheapest_order(pinned(free, loosened)) is not None:
            return f"{_NO_ORDER}: there is one without {words}."
    return f"{_NO_ORDER}: more than one of them is in the way; take some out."


def _loosened(songs: tuple[SetSong, ...]) -> Iterator[tuple[str, tuple[SetSong, ...]]]:
    """The songs without one of their pins, and what that pin is called."""
    for n, song in enumerate(songs):
        for name, without in (
            ("at", replace(song, at=None)),
            ("not_beside", replace(song, not_beside=())),
            ("after", replace(song, after=None)),
            ("opens", replace(song, opens=False)),
            ("closes", replace(song, closes=False)),
        ):
            if without != song:
                yield f"'{name}' of '{song.title}'", (*songs[:n], without, *songs[n + 1 :])


def cheap_order(
    problem: OrderProblem, songs: tuple[SetSong, ...], *, n_kicks: int = N_KICKS
) -> tuple[int, ...] | None:
    """An order that no move of up to three blocks and no reversal makes cheaper.

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
    random = np.random.default_rng(0)
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
