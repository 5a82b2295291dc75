"""Every attempt at the transition that is in a recording.

A rehearsal's file holds several tries with talk between. Each is where the whole render, or
all of it up to the new song, agrees better than it does with other music; of places that overlap
the best is one try.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.review.find import PART_MATCH, agreement_curve

if TYPE_CHECKING:
    from segue.review.find import FoundPlace
    from segue.review.listening import Listening

_AROUND_S: Final = 2.0  # before and after a try that belong to it; by judgement
_SAME_SHARE: Final = 0.5  # of the transition: places nearer than this are one try; by judgement
_LEAST_PART_S: Final = 8.0  # a shorter stretch is found in other music as well; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class TryPlace:
    """Seconds of the recording that hold one try."""

    start_s: float
    end_s: float


def try_places(
    reference: Listening, take: Listening, found: FoundPlace, *, split_s: float, least_match: float
) -> tuple[TryPlace, ...]:
    """Where the tries are, in their order.

    Parameters
    ----------
    found : FoundPlace
        The best place of the whole, which is one of them.
    split_s : float
        Time in the render where the new song enters.
    least_match : float
        Of the whole render, below which there is no try.

    Returns
    -------
    tuple of TryPlace
        At least one.
    """
    length_s = reference.duration_s * found.speed
    starts = [found.offset_s]
    looked = [(reference, least_match)]
    if split_s > _LEAST_PART_S:
        looked.append((reference.part(0.0, split_s), max(PART_MATCH, least_match)))
    for part, least in looked:
        lag_s, curve = agreement_curve(part, take, found.speed)
        order = (-curve).argsort()
        for place in order[curve[order] >= least]:
            start_s = float(lag_s[place])
            if all(abs(start_s - other) > _SAME_SHARE * length_s for other in starts):
                starts.append(start_s)
    starts.sort()
    borders_s = [0.0]
    for before_s, start_s in itertools.pairwise(starts):
        free_s = max(start_s - (before_s + length_s), 0.0)
        borders_s.append(start_s - min(_AROUND_S, free_s / 2))
    borders_s.append(take.duration_s)
    return tuple(
        TryPlace(start_s=start_s, end_s=end_s) for start_s, end_s in itertools.pairwise(borders_s)
    )
