"""Shares as people read them.

References
----------
.. [SI] BIPM, The International System of Units (SI Brochure), 9th edition, 2019, 5.4.7: a space
   stands between the number and the sign %.
"""

from __future__ import annotations


def percent(share: float) -> str:
    """A share in whole percent, with a space before the sign as [SI]_ has it.

    Examples
    --------
    >>> percent(0.3)
    '30 %'
    """
    return f"{100.0 * share:.0f} %"
