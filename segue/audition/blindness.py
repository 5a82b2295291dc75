"""What keeps a blind vote blind, also for a voter who opens the developer tools.

A listener gets the options in an order of their own, under numbers drawn for them alone: neither
an address, nor a size, nor an order tells two listeners that they mean the same option. What can be
heard can be compared all the same: where the bridge begins and ends is in the page, as the player
needs it.
"""

from __future__ import annotations

import hmac
import secrets
from typing import TYPE_CHECKING, Final

from segue.audition.secrets import CODE_LETTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

_MARK_BITS: Final = 48
"""Of a number of an option: exact in JavaScript, whose numbers hold 53 bits (ECMA-262)."""
N_MARK_LETTERS: Final = 4
"""Of a mark on a page of one file: four options among 810,000."""


def shuffled_order(seed: int, n: int) -> list[int]:
    """Positions 0 to n - 1 as a seed orders them, by the rule of the page's own script.

    The generator is Press et al., "Numerical Recipes in C", section 7.1, the shuffle Durstenfeld's
    (both from memory).

    Examples
    --------
    >>> sorted(shuffled_order(12345, 4))
    [0, 1, 2, 3]
    """
    order, state = list(range(n)), seed
    for last in range(n - 1, 0, -1):
        state = (1_664_525 * state + 1_013_904_223) % 2**32
        other = state * (last + 1) // 2**32
        order[last], order[other] = order[other], order[last]
    return order


def number_for(secret: bytes, listener: int, rank: int) -> int:
    """The number under which one listener meets an option.

    Parameters
    ----------
    secret : bytes
        Of the ballot; never leaves the server.
    listener : int
        Number of the listener in the ballot.
    rank : int
        Of the option.
    """
    digest = hmac.digest(secret, f"{listener} {rank}".encode(), "sha256")
    return int.from_bytes(digest[: _MARK_BITS // 8], "big")


def drawn_marks(n: int) -> list[str]:
    """Different marks for the options of a page of one file, drawn by the system."""
    marks: set[str] = set()
    while len(marks) < n:
        marks.add("".join(secrets.choice(CODE_LETTERS) for _ in range(N_MARK_LETTERS)))
    return list(marks)


def drawn_order(items: Sequence[int]) -> list[int]:
    """The items in an order drawn by the system."""
    order = list(items)
    secrets.SystemRandom().shuffle(order)
    return order
