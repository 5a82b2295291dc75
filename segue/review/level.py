"""Level against the plan: of each section, and whether the recorder rode it.

Both are told in bands, where the plan is loud and the take's noise is far below it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.plan.plan import Section
from segue.review.report import SectionLevel
from segue.review.room_and_noise import HOP_S, told_db

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.review.report import Hole, Review
    from segue.review.room_and_noise import BandLevels, ThroughRoom

    Floats = npt.NDArray[np.float64]

_RIDE_S: Final = 1.0  # a recorder has turned its gain after so long; by judgement
_SMOOTH_S: Final = 0.4  # a level is that of so long, as of momentary loudness (EBU Tech 3341)
_MOSTLY: Final = 0.6  # of such a stretch that must tell; by judgement
_LEAST_BANDS: Final = 2  # that must tell at a moment: one band is one player; by judgement
_LEAST_RISE_DB: Final = 2.0  # a smaller rise of the plan tells nothing; by judgement
_LEAST_RIDE_S: Final = 1.5  # of such rises and falls that must be heard; by judgement
_LEAST_SLOPE: Final = 0.13
"""Of what the plan rises by (chosen on the seeds of `benchmarks/review.py` that are for tuning:
ridden takes have .16 and more, others .10 at most)."""

_DISAGREES: Final = 0.25  # of the bands, which may say that a section is less off; by judgement
_LEAST_SECTION_S: Final = 1.0  # of sound that tells the level of a section; by judgement


def gain_ratio(heard: ThroughRoom, holes: Sequence[Hole]) -> float:
    """How many decibels of the band a recorder that rides the level makes one of, at least.

    Such a recorder turns up what is soft and down what is loud, all bands at once, all through the
    take and at any level; a band that plays a section too loud does it there alone. So the rises
    and falls within a second are compared, and not the levels.

    Returns
    -------
    float
        1 where no gain is ridden.
    """
    levels = heard.levels
    over = told_db(levels, heard.plan_db)
    tells = np.isfinite(over).sum(axis=1) >= _LEAST_BANDS
    if not tells.any():
        return 1.0
    bands = np.isfinite(over[tells]).any(axis=0)
    over = over[:, bands] - np.nanmedian(over[tells][:, bands], axis=0)
    hops = np.arange(len(over))
    gain_db = _smooth(np.interp(hops, hops[tells], np.nanmedian(over[tells], axis=1)))
    plan_db = 10 * np.log10(_smooth((10 ** (levels.plan_db / 10)).sum(axis=1)))
    told = _smooth(tells.astype(np.float64)) > _MOSTLY
    for hole in holes:  # a gap is no gain
        start_s, end_s = hole.start_s - _SMOOTH_S, hole.start_s + hole.length_s + _SMOOTH_S
        told &= (levels.at_s < start_s) | (levels.at_s > end_s)
    step = round(_RIDE_S / HOP_S)
    both = told[step:] & told[:-step]
    rise, more = ((level[step:] - level[:-step])[both] for level in (plan_db, gain_db))
    moves = np.abs(rise) > _LEAST_RISE_DB
    if moves.sum() * HOP_S < _LEAST_RIDE_S:
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
    over = told_db(bands, bands.plan_db)
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


def _smooth(values: Floats) -> Floats:
    from scipy.ndimage import uniform_filter1d

    smooth: Floats = uniform_filter1d(values, round(_SMOOTH_S / HOP_S))
    return smooth
