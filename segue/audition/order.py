"""The order in which a listener meets the candidates, from a seed that is kept with the vote.

The page shuffles by the same rule (`order.js`), so that an order can be told
again from its seed, wherever it was drawn.

References
----------
.. [PTVF92] W. H. Press, S. A. Teukolsky, W. T. Vetterling and B. P. Flannery, "Numerical Recipes
   in C", 2nd ed., Cambridge University Press, 1992, section 7.1 (from memory).
"""

from __future__ import annotations

from typing import Final

N_SEEDS: Final = 2**32
_MULTIPLIER: Final = 1_664_525
"""Of the quick linear congruential generator modulo 2**32 [PTVF92]_."""
_INCREMENT: Final = 1_013_904_223
"""Of the same generator [PTVF92]_."""


def shuffled_order(seed: int, n_ways: int) -> tuple[int, ...]:
    """Positions 0 to n_ways - 1, shuffled.

    Parameters
    ----------
    seed : int
        0 to `N_SEEDS` - 1.

    Returns
    -------
    tuple of int
        What is heard first, second and so on.

    Examples
    --------
    >>> shuffled_order(1, 4)
    (3, 2, 1, 0)
    """
    order, state = list(range(n_ways)), seed
    for last in range(n_ways - 1, 0, -1):
        state = (_MULTIPLIER * state + _INCREMENT) % N_SEEDS
        other = state * (last + 1) // N_SEEDS  # the high bits: the low ones of this rule repeat
        order[last], order[other] = order[other], order[last]
    return tuple(order)
