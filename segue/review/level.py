"""Level against the plan: of each section, and whether the recorder rode it.

Both are told in bands, where the plan is loud and the take's noise is far below it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.plan.plan import Section
from segue.review.report import SectionLevel
from segue.review.room_and_noise import HOP_S, decibels, told_db

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.review.report import Review
    from segue.review.room_and_noise import BandLevels, ThroughRoom

    Floats = npt.NDArray[np.float64]

_RIDE_S: Final = 1.0  # a recorder has turned its gain after so long; by judgement
_SMOOTH_S: Final = 0.4  # a level is that of so long, as of momentary loudness (EBU Tech 3341)
_MOSTLY: Final = 0.4  # of such a stretch that must tell; by judgement
_LEAST_BANDS: Final = 3  # that must tell: fewer are one player; by judgement
_LEAST_RISE_DB: Final = 2.0  # a smaller rise of the plan tells nothing; by judgement
_LEAST_RIDE_S: Final = 1.0  # of such rises and falls that must be heard in a band; by judgement
_LEAST_SLOPE: Final = 0.1
"""Of what the plan rises by, in all bands but one, which a phone may hardly let through (chosen on
the seeds of `benchmarks/review.py` that are for tuning: ridden takes have .13 and more, others .07
at most)."""

_DISAGREES: Final = 0.25  # of the bands, which may say that a section is less off; by judgement
_LEAST_SECTION_S: Final = 1.0  # of sound that tells the level of a section; by judgement


def gain_ratio(heard: ThroughRoom, missing_s: Sequence[tuple[float, float]]) -> float:
    """How many decibels of the band a recorder that rides the level makes one of, at least.

    Such a recorder turns up what is soft and down what is loud, all bands at once, all through the
    take and at any level; a band that plays a section too loud does it there alone. So the rises
    and falls within a second are compared, and not the levels.

    Parameters
    ----------
    missing_s : sequence of (float, float)
        From when to when in the take something of the plan is missing, which is no gain.

    Returns
    -------
    float
        1 where no gain is ridden.
    """
    levels = heard.levels
    over = told_db(levels, heard.plan_db)
    tells = np.isfinite(over)
    share = _smooth(tells.astype(np.float64))
    told = share > _MOSTLY
    told &= _is_whole(levels, missing_s, around_s=_SMOOTH_S)[:, None]
    gain_db = _smooth(np.where(tells, over, 0.0)) / np.maximum(share, _MOSTLY)
    plan_db = decibels(_smooth((10 ** (levels.plan_db / 10)).sum(axis=1)))
    step = round(_RIDE_S / HOP_S)
    rise, more = (level[step:] - level[:-step] for level in (plan_db, gain_db))
    both = told[step:] & told[:-step] & (np.abs(rise) > _LEAST_RISE_DB)[:, None]
    slopes = [
        float(np.median(-more[mine, band] / rise[mine]))
        for band, mine in enumerate(both.T)
        if mine.sum() * HOP_S > _LEAST_RIDE_S
    ]
    if len(slopes) < _LEAST_BANDS or sorted(slopes)[1] < _LEAST_SLOPE:
        return 1.0
    return 1 / (1 - min(float(np.median(slopes)), 0.9))


def section_levels(
    bands: BandLevels, review: Review, missing_s: Sequence[tuple[float, float]]
) -> tuple[SectionLevel, ...]:
    """Level of each section against the plan, about the take's own level.

    Band by band, and as much as the bands agree on: a phone takes the low ones away and a room
    adds to some, which makes a section of other instruments no softer.

    Parameters
    ----------
    review : Review
        For the bars.
    missing_s : sequence of (float, float)
        As for `gain_ratio`: who is missing is not soft.

    Returns
    -------
    tuple of SectionLevel
        Sections without enough sound are left out.
    """
    starts_s = np.array([bar.plan_s for bar in review.bars])
    index = np.clip(np.searchsorted(starts_s, bands.plan_s, side="right") - 1, 0, None)
    of_hop = np.array([review.bars[i].section for i in index])
    over = np.where(_is_whole(bands, missing_s)[:, None], told_db(bands, bands.plan_db), np.nan)
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


def _is_whole(
    levels: BandLevels, missing_s: Sequence[tuple[float, float]], *, around_s: float = 0.0
) -> npt.NDArray[np.bool_]:
    """Where nothing of the plan is missing."""
    whole = np.ones(len(levels.at_s), dtype=bool)
    for start_s, end_s in missing_s:
        whole &= (levels.at_s < start_s - around_s) | (levels.at_s > end_s + around_s)
    return whole


def _smooth(values: Floats) -> Floats:
    from scipy.ndimage import uniform_filter1d

    smooth: Floats = uniform_filter1d(values, round(_SMOOTH_S / HOP_S), axis=0)
    return smooth
