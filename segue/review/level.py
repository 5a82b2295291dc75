"""Level against the plan, and holes where nothing sounds.

A take of any level is compared with the render block by block, along the alignment; the
middle difference is the take's own level and is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.audio.loudness import momentary_lufs
from segue.plan.plan import Section
from segue.review.report import Hole, SectionLevel

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import Clip
    from segue.review.report import Review

    Floats = npt.NDArray[np.float64]

_HOP_S: Final = 0.05  # seconds between points of a loudness curve
_QUIET_LUFS, _SILENT_LUFS = -80.0, -120.0  # below these the plan, and the take, count as silent
_PLAN_SOUNDS_LU: Final = -10.0
"""The render sounds where it is at most so far below its middle."""
_HOLE_LU: Final = -8.0
"""Of a hole against the plan: noise 10 dB below the band leaves no more of it."""
_LEAST_HOLE_S: Final = 0.35
"""Beyond the 0.4 s of the loudness window itself (chosen on undamaged takes)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelDifference:
    """Loudness of a take over the render's, along the render.

    Parameters
    ----------
    plan_s : ndarray, shape (n_hops,)
        Times of the render that are in the take.
    over_lu : ndarray, shape (n_hops,)
        The take over the render, about its own middle where the render sounds.
    sounds : ndarray of bool, shape (n_hops,)
        Whether the render sounds.
    """

    plan_s: Floats
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
    inside = (at_s >= take_s[0]) & (at_s <= take_s[-1])
    planned = np.maximum(plan_lufs[inside], _QUIET_LUFS)
    heard = np.interp(at_s[inside], take_s, np.maximum(take_lufs, _SILENT_LUFS))
    sounds = _sounds(planned)
    over = heard - planned
    middle = float(np.median(over[sounds])) if sounds.any() else 0.0
    return LevelDifference(plan_s=plan_s[inside], over_lu=over - middle, sounds=sounds)


def holes_of(levels: LevelDifference, review: Review) -> tuple[Hole, ...]:
    """Stretches where the render sounds and the take does not.

    Parameters
    ----------
    review : Review
        For the bars.
    """
    empty = levels.sounds & (levels.over_lu < _HOLE_LU)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], empty.astype(np.int8), [0]))))
    holes = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        length_s = float(last - first) * _HOP_S
        if length_s >= _LEAST_HOLE_S:
            start_s = float(levels.plan_s[first])
            bar = review.bar_at(start_s + length_s / 2)
            holes.append(Hole(bar=bar, start_s=review.take_s_at(start_s), length_s=length_s))
    return tuple(holes)


def section_levels(levels: LevelDifference, review: Review) -> tuple[SectionLevel, ...]:
    """Level of each section against the plan, about the take's own level.

    Parameters
    ----------
    review : Review
        For the bars.

    Returns
    -------
    tuple of SectionLevel
        Sections without sound are left out.
    """
    starts_s = np.array([bar.plan_s for bar in review.bars])
    index = np.clip(np.searchsorted(starts_s, levels.plan_s, side="right") - 1, 0, None)
    of_hop = np.array([review.bars[i].section for i in index])
    sections: tuple[Section, ...] = get_args(Section)
    return tuple(
        SectionLevel(section=section, against_plan_lu=float(np.median(levels.over_lu[mine])))
        for section in sections
        if (mine := levels.sounds & (of_hop == section)).any()
    )


def _sounds(plan_lufs: Floats) -> npt.NDArray[np.bool_]:
    loud = plan_lufs[plan_lufs > _QUIET_LUFS]
    if not len(loud):
        return np.zeros(len(plan_lufs), dtype=bool)
    sounds: npt.NDArray[np.bool_] = plan_lufs > np.median(loud) + _PLAN_SOUNDS_LU
    return sounds
