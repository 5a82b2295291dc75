"""How early or late the band is, beat by beat.

The offset of the recording against the render is followed over the beats by
dynamic programming: at each beat every shift in reach is scored by how well the
onsets around it agree, and shifts that jump from beat to beat cost (dynamic time
warping whose path is held near the one that was found, [SC78]_).

References
----------
.. [SC78] H. Sakoe and S. Chiba, "Dynamic programming algorithm optimization for
   spoken word recognition", IEEE Trans. ASSP 26(1), 1978, 43-49.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.review.listening import ONSET_HOP_S, Listening, bent

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.arrays import Floats
    from segue.review.find import FoundPlace


REACH_S: Final = 1.3
"""How far from the place that was found the band may be: two beats at 92 BPM (by judgement)."""
_AROUND_S: Final = 1.2
"""Onsets this far on either side of a beat speak for its shift, less with
distance (by judgement)."""
_JUMP_COST: Final = 0.6
"""Of moving one hop from a beat to the next, in units of correlation a tenth of a second (chosen
on the same as what follows)."""
_MOST_JUMP_COST: Final = 2.4
"""Of a jump of any size: a band that is a whole beat off is off for good (chosen on takes of odd
seeds of `benchmarks/review_bands.py`)."""
_SAME_PLACE_S: Final = 0.1  # as near to a place a beat is at it; by judgement
_APART_COST: Final = 0.3  # of a beat at neither of two places, as a jump costs; by judgement
_BAR_REACH_S: Final = 0.12  # a bar is looked for this near its beats; by judgement
_BAR_EDGE_S: Final = 0.04  # an onset at a bar line belongs to the bar that it starts; by judgement
# hops on each side of a beat in which its stroke is looked for; by judgement
_AT_BEAT_HOPS: Final = 3
_SILENT: Final = 1e-6  # keeps silence from a division by zero


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment:
    """Where the beats of the plan are in the recording.

    Parameters
    ----------
    plan_s : ndarray, shape (n_beats,)
        Times in the render.
    take_s : ndarray, shape (n_beats,)
        Times in the recording.
    agreement : ndarray, shape (n_beats,)
        Correlation of the onsets around each beat, -1 to 1; 0 where the render has none.
    struck : ndarray, shape (n_beats,)
        How strong the render's own onsets are there, about 1 in the middle.
    """

    plan_s: Floats
    take_s: Floats
    agreement: Floats
    struck: Floats


def aligned(
    reference: Listening, take: Listening, places: Sequence[FoundPlace], beats_s: Sequence[float]
) -> Alignment:
    """Follow the beats of the plan through a recording.

    Beats outside the recording are left out.

    Parameters
    ----------
    places : sequence of FoundPlace
        Where to start from, each from its own time of the render on.
    beats_s : sequence of float
        Times in the render, ascending.
    """
    plan_s = np.asarray(beats_s)
    expected_s = np.zeros(len(plan_s))
    for place in places:
        mine = plan_s >= place.from_s - ONSET_HOP_S
        expected_s[mine] = place.offset_s + plan_s[mine] * place.speed
    inside = (expected_s > 0.1) & (expected_s < take.duration_s - 0.1)  # noqa: PLR2004 - a hop's reach
    plan_s = plan_s[inside]
    # Every beat may be at any of the places, so that no place says where one passes into the next.
    offsets_s = [place.offset_s for place in places]
    expected_s = (min(offsets_s) + max(offsets_s)) / 2 + plan_s * places[0].speed
    n_reach = round((REACH_S + (max(offsets_s) - min(offsets_s)) / 2) / ONSET_HOP_S)
    scores = np.stack(
        [
            _agreement(reference, take, at_s, place_s, n_reach)
            for at_s, place_s in zip(plan_s, expected_s, strict=True)
        ]
    )
    path = _cheapest(scores - _apart_cost(places, expected_s - plan_s * places[0].speed, n_reach))
    fine = np.array([i + bent(row, i) for row, i in zip(scores, path.tolist(), strict=True)])
    return Alignment(
        plan_s=plan_s,
        take_s=expected_s + (fine - n_reach) * ONSET_HOP_S,
        agreement=scores[np.arange(len(path)), path],
        struck=_struck(reference, plan_s),
    )


def _apart_cost(places: Sequence[FoundPlace], middle_s: Floats, n_reach: int) -> Floats:
    """What each shift costs: where two places were found, by the notes too, it is one of them."""
    cost = np.zeros(2 * n_reach + 1)
    if len(places) > 1:
        shifts_s = middle_s[0] + np.arange(-n_reach, n_reach + 1) * ONSET_HOP_S
        apart_s = [np.abs(shifts_s - place.offset_s) for place in places]
        cost[np.min(apart_s, axis=0) > _SAME_PLACE_S] = _APART_COST
    return cost


def bar_shift(
    reference: Listening, take: Listening, span_s: tuple[float, float], alignment: Alignment
) -> tuple[float, float] | None:
    """How a bar's own onsets are shifted against the beats that were followed, which share them.

    Around each beat the onsets of more than a bar speak together, so that one bar that hesitates
    is smoothed into its neighbours; here the bar alone speaks.

    Parameters
    ----------
    span_s : (float, float)
        Where the bar starts and ends in the render.

    Returns
    -------
    (float, float) or None
        Seconds of the recording where the bar's first frame is, and how well its onsets agree
        there, -1 to 1; None where the bar is not in the recording.
    """
    start_s, end_s = span_s[0] - _BAR_EDGE_S, span_s[1] - _BAR_EDGE_S
    offsets_s = alignment.take_s - alignment.plan_s
    mine = (alignment.plan_s > start_s) & (alignment.plan_s < end_s)
    if not mine.any():
        return None
    expected_s = float(np.median(offsets_s[mine]))
    hops = np.arange(round(start_s / ONSET_HOP_S), round(end_s / ONSET_HOP_S))
    x = _read(reference.onsets, hops.astype(np.float64))
    n_reach = round(_BAR_REACH_S / ONSET_HOP_S)
    long = np.arange(hops[0] - n_reach, hops[-1] + n_reach + 1) + expected_s / ONSET_HOP_S
    if long[0] < 0 or long[-1] * ONSET_HOP_S > take.duration_s:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(_read(take.onsets, long), len(x), axis=0)
    x = x - x.mean(axis=0)
    windows = windows - windows.mean(axis=2, keepdims=True)
    scale = np.sqrt(np.square(x).sum() * np.square(windows).sum(axis=(1, 2)))
    row = np.einsum("sbh,hb->s", windows, x) / np.maximum(scale, _SILENT)
    best = int(np.argmax(row))
    shift_s = (best + bent(row, best) - n_reach) * ONSET_HOP_S
    return span_s[0] + expected_s + shift_s, float(row[best])


def _struck(reference: Listening, at_s: Floats) -> Floats:
    """Strength of the onsets right at each beat against its middle."""
    near = np.arange(-_AT_BEAT_HOPS, _AT_BEAT_HOPS + 1.0)
    strength = np.array(
        [_read(reference.onsets, s / ONSET_HOP_S + near).sum(axis=1).max() for s in at_s]
    )
    struck: Floats = strength / max(float(np.median(strength)), _SILENT)
    return struck


def _agreement(
    reference: Listening, take: Listening, at_s: float, place_s: float, n_reach: int
) -> Floats:
    """Correlation of the onsets around a beat at every shift in reach."""
    n_around = round(_AROUND_S / ONSET_HOP_S)
    hops: Floats = np.arange(-n_around, n_around + 1.0)
    weight = np.hanning(len(hops) + 2)[1:-1, None]
    x = _read(reference.onsets, at_s / ONSET_HOP_S + hops) * weight
    x -= x.mean(axis=0)
    long: Floats = np.arange(-n_around - n_reach, n_around + n_reach + 1.0)
    y = _read(take.onsets, place_s / ONSET_HOP_S + long)
    windows = np.lib.stride_tricks.sliding_window_view(y, len(hops), axis=0)
    windows = windows - windows.mean(axis=2, keepdims=True)
    cross = np.einsum("sbh,hb->s", windows, x * weight)
    power = np.einsum("sbh,h->s", windows**2, weight[:, 0] ** 2)
    scale = np.sqrt(np.square(x).sum() * power)
    result: Floats = np.where(scale > _SILENT, cross / np.maximum(scale, _SILENT), 0.0)
    return result


def _read(features: Floats, hops: Floats) -> Floats:
    """Features at places between hops; zero outside."""
    at = np.arange(len(features))
    return np.stack(
        [np.interp(hops, at, column, left=0.0, right=0.0) for column in features.T], axis=1
    )


def _cheapest(scores: Floats) -> npt.NDArray[np.intp]:
    """Shift of each beat on the best path."""
    n_beats, n_shifts = scores.shape
    apart = np.abs(np.subtract.outer(np.arange(n_shifts), np.arange(n_shifts)))
    jump = np.minimum(_JUMP_COST * ONSET_HOP_S / 0.1 * apart, _MOST_JUMP_COST)
    best = scores[0].copy()
    came = np.zeros((n_beats, n_shifts), dtype=np.intp)
    for beat in range(1, n_beats):
        ways = best[None, :] - jump
        came[beat] = np.argmax(ways, axis=1)
        best = scores[beat] + ways[np.arange(n_shifts), came[beat]]
    path = np.empty(n_beats, dtype=np.intp)
    path[-1] = int(np.argmax(best))
    for beat in range(n_beats - 1, 0, -1):
        path[beat - 1] = came[beat, path[beat]]
    return path
