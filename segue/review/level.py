"""Level against the plan, and whether the recorder rode it.

A take of any level is compared with the render block by block, along the alignment; the
middle difference is the take's own level and is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.audio.loudness import momentary_lufs
from segue.plan.plan import Section
from segue.review.dropout import HOP_S, floor_db
from segue.review.report import SectionLevel

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.dropout import BandLevels
    from segue.review.report import Hole, Review

    Floats = npt.NDArray[np.float64]

_HOP_S: Final = 0.05  # seconds between points of a loudness curve; by judgement
# below these the plan, and the take, count as silent; by judgement
_QUIET_LUFS, _SILENT_LUFS = -80.0, -120.0
_PLAN_SOUNDS_LU: Final = -10.0
"""The render sounds where it is at most so far below its middle (by judgement)."""
_WINDOW_S: Final = 0.45  # of momentary loudness, and a little more; by judgement
_RIDE_S: Final = 1.0  # a recorder has turned its gain after so long; all by judgement on takes of
_RIDDEN_LU: Final = (
    14.0  # takes of `benchmarks/_review_damage.py`: below, noise fills what the band
)
_LEAST_RISE_LU: Final = 2.0  # leaves; a smaller rise of the plan tells nothing; by judgement
_LEAST_RIDE_S: Final = 1.5  # of such rises and falls that must be heard; by judgement
_LEAST_SLOPE: Final = 0.25  # of what the plan rises by: noise and rooms even out less; by judgement

_BAND_SOUNDS_DB: Final = 20.0  # of a band below its loud moments; by judgement
_ABOVE_FLOOR_DB: Final = 8.0  # of the plan above what noise leaves in a band; by judgement
_DISAGREES: Final = 0.25  # of the bands, which may say that a section is less off; by judgement
_LEAST_SECTION_S: Final = 1.0  # of sound that tells the level of a section; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelDifference:
    """Loudness of a take over the render's, along the render.

    Parameters
    ----------
    plan_s : ndarray, shape (n_hops,)
        Times of the render that are in the take.
    plan_lufs : ndarray, shape (n_hops,)
        Loudness of the render.
    over_lu : ndarray, shape (n_hops,)
        The take over the render, about its own middle where the render sounds.
    sounds : ndarray of bool, shape (n_hops,)
        Whether the render sounds.
    """

    plan_s: Floats
    plan_lufs: Floats
    over_lu: Floats
    sounds: npt.NDArray[np.bool_]


def levels_against(take: Clip, reference: Clip, review: Review) -> LevelDifference:
    """Loudness of a take over the render's.

    Parameters
    ----------
    review : Review
        For the times of the bars.
    """
    plan_s, plan_lufs = momentary_lufs(reference, hop_s=_HOP_S)
    take_s, take_lufs = momentary_lufs(take, hop_s=_HOP_S)
    at_s = np.array([review.take_s_at(float(s)) for s in plan_s])
    inside = (at_s >= take_s[0] + 0.2) & (at_s <= take_s[-1])
    planned = np.maximum(plan_lufs[inside], _QUIET_LUFS)
    heard = np.interp(at_s[inside], take_s, np.maximum(take_lufs, _SILENT_LUFS))
    sounds = _sounds(planned)
    over = heard - planned
    middle = float(np.median(over[sounds])) if sounds.any() else 0.0
    return LevelDifference(
        plan_s=plan_s[inside], plan_lufs=planned, over_lu=over - middle, sounds=sounds
    )


def gain_ratio(levels: LevelDifference, holes: Sequence[Hole], review: Review) -> float:
    """How many decibels of the band a recorder that rides the level makes one of.

    Such a recorder turns up what is soft and down what is loud, all through the take and at any
    level; a band that plays a section too loud does it there alone. So the rises and falls within
    a few seconds are compared, and not the levels.

    Returns
    -------
    float
        1 where no gain is ridden.
    """
    step = round(_RIDE_S / _HOP_S)
    at_s = np.array([review.take_s_at(float(s)) for s in levels.plan_s])
    loud = levels.plan_lufs > np.quantile(levels.plan_lufs, 0.9) - _RIDDEN_LU
    for hole in holes:  # a gap is no gain
        start_s, end_s = hole.start_s - _WINDOW_S, hole.start_s + hole.length_s + _WINDOW_S
        loud &= (at_s < start_s) | (at_s > end_s)
    both = loud[step:] & loud[:-step]
    rise = (levels.plan_lufs[step:] - levels.plan_lufs[:-step])[both]
    more = (levels.over_lu[step:] - levels.over_lu[:-step])[both]
    moves = np.abs(rise) > _LEAST_RISE_LU
    if moves.sum() * _HOP_S < _LEAST_RIDE_S:
        return 1.0
    slope = float(np.median(-more[moves] / rise[moves]))
    return 1.0 if slope < _LEAST_SLOPE else 1 / (1 - min(slope, 0.9))


def section_levels(bands: BandLevels, review: Review) -> tuple[SectionLevel, ...]:
    """Level of each section against the plan, about the take's own level.

    Band by band, and as much as the bands agree on: a phone takes the low ones away and a room
    adds to some, which makes a section of other instruments no softer.

    Parameters
    ----------
    review : Review
        For the bars.

    Returns
    -------
    tuple of SectionLevel
        Sections without enough sound are left out.
    """
    starts_s = np.array([bar.plan_s for bar in review.bars])
    index = np.clip(np.searchsorted(starts_s, bands.plan_s, side="right") - 1, 0, None)
    of_hop = np.array([review.bars[i].section for i in index])
    top = np.quantile(bands.plan_db, 0.9, axis=0)
    least = np.maximum(top - _BAND_SOUNDS_DB, floor_db(bands.take_db) + _ABOVE_FLOOR_DB)
    over = np.where(bands.plan_db > least, bands.take_db - bands.plan_db, np.nan)
    sections: tuple[Section, ...] = get_args(Section)
    told = []
    for section in sections:
        mine = over[of_hop == section]
        enough = np.isfinite(mine).sum(axis=0) * HOP_S > _LEAST_SECTION_S
        if enough.any():
            level = _agreed_lu(np.nanmedian(mine[:, enough], axis=0))
            told.append(SectionLevel(section=section, against_plan_lu=level))
    return tuple(told)


def _agreed_lu(of_bands: Floats) -> float:
    """By how much three quarters of the bands are louder, or softer; 0 where they do not agree."""
    side = 1.0 if np.median(of_bands) > 0 else -1.0
    return side * max(float(np.quantile(side * of_bands, _DISAGREES)), 0.0)


def _sounds(plan_lufs: Floats) -> npt.NDArray[np.bool_]:
    loud = plan_lufs[plan_lufs > _QUIET_LUFS]
    if not len(loud):
        return np.zeros(len(plan_lufs), dtype=bool)
    sounds: npt.NDArray[np.bool_] = plan_lufs > np.median(loud) + _PLAN_SOUNDS_LU
    return sounds
