"""What of the plan is softer or louder in a take, and where nothing of it sounds.

The level of each section, and whether the recorder rode it, are told in bands, where the plan is
loud and the take's noise is far below it.

Gaps are told from a tenth of a second, at their true length. In a gap all bands of the sound fall
together, as far as the room's tail and the noise let them, and come back together. So the take is
held against the plan with a gap and without one, both as the take's room and noise would have them,
between each fall and each rise of the whole; what it is nearer to is told, at the edges that tell
it best.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.plan.plan import Section
from segue.review.report import Hole, Review, SectionLevel
from segue.review.room_and_noise import HOP_S, BandLevels, ThroughRoom, decibels, told_db

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from segue.arrays import Flags, Floats


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
LEAST_GAP_S: Final = 0.085
"""A gap of a tenth of a second, read 15 ms too short, is one still (this and what follows chosen on
the seeds of `benchmarks/review.py` that are for tuning)."""
_LONGEST_S: Final = 10.0  # a longer one is no gap but an end; by judgement
_IS_GAP: Final = 0.6
"""From here on a stretch is as with a gap: gaps have .77 and more, other music .3 at most, and what
an automatic gain does .56 (chosen on tuning seeds)."""
_LEAST_APART_DB: Final = 4.0
"""By which the plan with a gap and without must differ to tell (chosen on the same)."""
_WRONG_DB: Final = 12.0
"""Below the plan a level is as good as silent (by judgement)."""
_BAND_APART_DB: Final = 3.0
"""A band in which they differ by less tells nothing: noise fills it (by judgement)."""
_LEAST_GAP_BANDS: Final = 2  # that must tell: one band is one player; by judgement
_RISE_DB: Final = 4.0
"""Of the middle of the bands, from the step before an end to the step behind (by judgement)."""
_FALL_DB: Final = 2.5  # the same at a start: a room's tail softens it; by judgement
_STOP_DB: Final = 4.0  # the same where a band stops for good; by judgement
_LEAST_STOP_S: Final = 2.0  # that are missing at the end: less is an ending; by judgement
_AROUND_S: Final = 0.15  # before and after a gap, where it must be louder; by judgement
_EDGE_S: Final = 0.15  # an edge is looked for this near where the level falls; by judgement
# the sound's end and start reach into the window on both sides; chosen on odd seeds
_READ_SHORT_S: Final = 0.008
_STEP_S: Final = 0.02  # and where it rises; also the length of a step of `_rises`; by judgement


def gain_ratio(heard: ThroughRoom, missing_s: Sequence[tuple[float, float]]) -> float:
    """How many decibels of the band a recorder that rides the level makes one of, at least.

    Such a recorder turns up what is soft and down what is loud, all bands at once, all through the
    take and at any level; a band that plays a section too loud does it there alone. So the rises
    and falls within a second are compared, and not the levels.

    1 where no gain is ridden.

    Parameters
    ----------
    missing_s : sequence of (float, float)
        From when to when in the take something of the plan is missing, which is no gain.
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

    Sections without enough sound are left out.

    Parameters
    ----------
    missing_s : sequence of (float, float)
        As for `gain_ratio`: who is missing is not soft.
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
) -> Flags:
    """Where nothing of the plan is missing."""
    whole = np.ones(len(levels.at_s), dtype=bool)
    for start_s, end_s in missing_s:
        whole &= (levels.at_s < start_s - around_s) | (levels.at_s > end_s + around_s)
    return whole


def _smooth(values: Floats) -> Floats:
    from scipy.ndimage import uniform_filter1d

    smooth: Floats = uniform_filter1d(values, round(_SMOOTH_S / HOP_S), axis=0)
    return smooth


def gaps_of(heard: ThroughRoom, bar_at: Callable[[float], int]) -> tuple[Hole, ...]:
    """Where the band, or the line from it, is silent and the plan is not.

    Parameters
    ----------
    bar_at : callable
        Number of the bar that a time of the plan is in.
    """
    levels = heard.levels
    found: list[tuple[int, int]] = []
    for _, first, last in sorted(_candidates(heard), reverse=True):
        if all(last <= other[0] or first >= other[1] for other in found):
            found.append((first, last))
    holes = []
    for gap in sorted(found):
        first, last = _nearest(heard, gap, _edges(levels.broad_db, *gap))
        length_s = (last - first) * HOP_S + _READ_SHORT_S
        if length_s >= LEAST_GAP_S:
            holes.append(
                Hole(
                    bar=bar_at(float(levels.plan_s[first])),
                    start_s=float(levels.at_s[first]),
                    length_s=length_s,
                )
            )
    return tuple(holes)


def stopped_s(heard: ThroughRoom) -> float | None:
    """Time of the plan from which on nothing of it is played; None where it is played to its end.

    A band that leaves off a moment before the end of what was rendered has done nothing wrong.
    """
    rise = _rises(heard.take_db.mean(axis=1))
    last = len(rise)
    best: tuple[float, float | None] = (0.0, None)
    for first in np.flatnonzero(rise[: -round(_LEAST_STOP_S / HOP_S)] < -_STOP_DB):
        nearness, apart_db = _nearness(heard, int(first), last)
        explained = nearness * apart_db * (last - first)
        if nearness > _IS_GAP and apart_db > _LEAST_APART_DB and explained > best[0]:
            best = (explained, float(heard.levels.plan_s[first]))
    return best[1]


def _candidates(heard: ThroughRoom) -> Iterator[tuple[float, int, int]]:
    """Stretches between a fall and a rise of all bands that are as with a gap: how much, edges."""
    level = heard.take_db.mean(axis=1)
    rise = _rises(level)
    middle = rise[1:-1]
    is_top = (middle >= rise[:-2]) & (middle > rise[2:]) & (middle > _RISE_DB)
    is_bottom = (middle <= rise[:-2]) & (middle < rise[2:]) & (middle < -_FALL_DB)
    falls = np.flatnonzero(is_bottom) + 1
    sums = np.concatenate([[0.0], np.cumsum(level)])
    around = round(_AROUND_S / HOP_S)
    before = np.array([np.median(level[max(first - around, 0) : first]) for first in falls])
    for last in np.flatnonzero(is_top) + 1:
        low, high = last - round(_LONGEST_S / HOP_S), last - round(LEAST_GAP_S / HOP_S)
        inner = (sums[last] - sums[falls]) / np.maximum(last - falls, 1)
        after = np.median(level[last : last + around])
        is_deep = np.minimum(before, after) - inner >= _FALL_DB
        for first in falls[(falls >= low) & (falls <= high) & is_deep]:
            nearness, apart_db = _nearness(heard, int(first), int(last))
            if nearness > _IS_GAP and apart_db > _LEAST_APART_DB:
                # By all that it explains, a gap stands before its own parts.
                yield nearness * apart_db * (last - first), int(first), int(last)


def _nearness(heard: ThroughRoom, first: int, last: int) -> tuple[float, float]:
    """Whether a stretch is as with a gap (1) or without (-1), and how many dB they differ."""
    plan_db = heard.plan_db[first:last]
    # Talk in a gap is far above the noise, and so far below the plan that it is none of it.
    deep_db = plan_db - _WRONG_DB
    gap_db = np.maximum(heard.with_gap_db(first, last, last), deep_db)
    take_db = np.maximum(heard.take_db[first:last], deep_db)
    apart_db = (plan_db - gap_db).mean(axis=0)
    tells = apart_db > _BAND_APART_DB
    if tells.sum() < _LEAST_GAP_BANDS:
        return -1.0, 0.0
    nearer = (np.abs(take_db - plan_db) - np.abs(take_db - gap_db)).mean(axis=0)
    return float(nearer[tells].sum() / apart_db[tells].sum()), float(apart_db[tells].mean())


def _nearest(heard: ThroughRoom, *gaps: tuple[int, int]) -> tuple[int, int]:
    """Of the starts and of the ends of some gaps those that tell the take best."""
    low, high = (
        min(gap[0] for gap in gaps),
        max(gap[1] for gap in gaps) + round(_EDGE_S / HOP_S),
    )
    high = min(high, len(heard.take_db))

    def misfit(edges: tuple[int, int]) -> float:
        told = heard.plan_db[low:high].copy()
        told[edges[0] - low :] = heard.with_gap_db(*edges, high)
        off = np.abs(heard.take_db[low:high] - told)
        return float(np.minimum(off, _WRONG_DB).sum())

    return min(itertools.product(*zip(*gaps, strict=True)), key=misfit)


def _edges(broad_db: Floats, first: int, last: int) -> tuple[int, int]:
    """Where the whole falls and rises most, near where a gap starts and ends."""
    rise = _rises(broad_db)
    before, near = round(_EDGE_S / HOP_S), round(_STEP_S / HOP_S)
    low, high = max(first - before, 0), min(first + near, last - 1)
    start = low + int(np.argmin(rise[low : high + 1]))
    end = max(last - near, start + 1)
    return start, end + int(np.argmax(rise[end : last + near + 1]))


def _rises(level: Floats) -> Floats:
    """At each hop the mean of the step behind it over that of the step before it."""
    step = round(_STEP_S / HOP_S)
    sums = np.concatenate([[0.0], np.cumsum(level)])
    rise = np.zeros(len(level))
    at = np.arange(step, len(level) - step)
    rise[at] = (sums[at + step] - 2 * sums[at] + sums[at - step]) / step
    return rise
