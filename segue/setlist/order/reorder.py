"""A better order: exact for sets of usual length, with a proven gap for longer ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from segue.errors import OptionError
from segue.setlist.order.exact import MOST_EXACT, cheapest_order
from segue.setlist.order.problem import OrderProblem, pinned
from segue.setlist.order.search import chained, cheap_order, lower_bound

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.setlist.set_list import SetSong


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

    Parameters
    ----------
    most_exact : int
        Sets of more songs are searched, not solved.

    Returns
    -------
    BetterOrder
        The order as written where nothing cheaper was found.

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


def broken_pins(songs: tuple[SetSong, ...]) -> tuple[str, ...]:
    """Sentences about pins that the songs break in this very order."""
    return tuple(_broken(songs))


def _broken(songs: tuple[SetSong, ...]) -> Iterator[str]:
    before = {song.title: old for old, song in zip([None, *songs[:-1]], songs, strict=True)}
    for n, song in enumerate(songs, start=1):
        old = before[song.title]
        if song.opens and n != 1:
            yield f"'{song.title}' should open the set and comes at place {n}."
        if song.closes and n != len(songs):
            yield f"'{song.title}' should close the set and comes at place {n} of {len(songs)}."
        if song.at is not None and song.at != n:
            yield f"'{song.title}' should come at place {song.at} and comes at place {n}."
        if song.after is not None and (old is None or old.title != song.after):
            yield f"'{song.title}' should come right after '{song.after}'."
        if old is not None and (old.title in song.not_beside or song.title in old.not_beside):
            yield f"'{song.title}' should not be beside '{old.title}'."


def _refuse_one_place(songs: tuple[SetSong, ...]) -> None:
    """Two songs at one place, or one song at two."""
    held: dict[int, tuple[str, str]] = {}
    for song in songs:
        places = {1: "opens"} if song.opens else {}
        places |= {len(songs): "closes"} if song.closes and len(songs) not in places else {}
        places |= {song.at: f"at = {song.at}"} if song.at and song.at not in places else {}
        if len(places) > 1:
            pins = " and ".join(f"'{pin}'" for pin in places.values())
            raise OptionError(
                f"no order keeps all pins: '{song.title}' has both {pins}; take one out."
            )
        for place, pin in places.items():
            if place in held:
                other, its_pin = held[place]
                raise OptionError(
                    f"no order keeps all pins: '{other}' ('{its_pin}') and '{song.title}' "
                    f"('{pin}') both want place {place}; take one out."
                )
            held[place] = (song.title, pin)


def _refuse_circle(songs: tuple[SetSong, ...]) -> None:
    followed: dict[str, str] = {}
    for song in songs:
        if song.after is None:
            continue
        if song.after in followed:
            raise OptionError(
                f"no order keeps all pins: '{followed[song.after]}' and '{song.title}' must both "
                f"come right after '{song.after}'; take one 'after' out."
            )
        followed[song.after] = song.title
    held = {n for block in chained(songs) for n in block}
    circle = [song.title for n, song in enumerate(songs) if n not in held]
    if circle:
        raise OptionError(
            f"no order keeps all pins: {', '.join(circle)} follow each other in a circle; "
            "take one 'after' out."
        )


def _no_order(songs: tuple[SetSong, ...], *, is_exact: bool) -> str:
    """Why there is none: the pin without which there is one, where one pin is enough."""
    if not is_exact:
        return "no order was found that keeps all pins: take one out, or check them for conflicts."
    n = len(songs)
    apart = np.where(np.eye(n, dtype=bool), np.inf, 0.0)
    free = OrderProblem(
        pair_cost=apart, place_cost=np.zeros((n, n)), same_key=np.zeros((n, n), dtype=bool)
    )
    for words, loosened in _loosened(songs):
        if cheapest_order(pinned(free, loosened)) is not None:
            return f"no order keeps all pins: there is one without {words}."
    return "no order keeps all pins: more than one of them is in the way; take some out."


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
