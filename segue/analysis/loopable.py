"""Which bars of an edge loop best.

A loop is heard as one where its end meets its start as the song itself goes on, where the band
repeats it anyway, where it neither swells nor sinks, and where nobody sings in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.bar_features import HOP_S
from segue.analysis.structure_facts import LoopFact

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from segue.analysis.bar_features import BarFeatures
    from segue.analysis.structure_facts import BarFact

    Floats = npt.NDArray[np.float64]

LENGTHS_BARS: Final = (4, 2, 1)  # lengths of loops that are offered, in bars; by judgement
_SEAM_S: Final = 0.25  # seconds after both ends of a loop that are compared; by judgement
_PARTS_A_BEAT: Final = 4  # parts of a beat whose levels are compared; by judgement
_QUIET_LU: Final = 8.0  # bars this far below the median are not looped; by judgement

# Weights of the measures and the middle of the scale: set by judgement on what 58 edges had.
_SEAM_WEIGHT, _REPEAT_WEIGHT, _STEADY_WEIGHT, _VOICE_WEIGHT = 0.5, 4.0, 0.5, 3.0
_MIDDLE: Final = -1.5  # score of a loop whose quality is one half


def best_loops(features: BarFeatures, bars: Sequence[BarFact]) -> tuple[LoopFact, ...]:
    """The most loopable four, two and one bars, best first.

    Parameters
    ----------
    bars : sequence of BarFact
        Of the same bar lines as the features.

    Returns
    -------
    tuple of LoopFact
        At most one of each length. Bars far below the level of the edge are no loop.
    """
    parts = features.by_parts(features.bands_db, _PARTS_A_BEAT * features.metre)
    levels = np.array([bar.level_lufs for bar in bars])
    is_loud = levels > np.median(levels) - _QUIET_LU
    found = []
    for n_bars in LENGTHS_BARS:
        places = [
            first
            for first in range(features.n_bars - n_bars)
            if is_loud[first : first + n_bars].all()
        ]
        loops = [_loop(features, parts, bars, first, n_bars) for first in places]
        if loops:
            found.append(max(loops, key=lambda loop: loop.quality))
    return tuple(sorted(found, key=lambda loop: -loop.quality))


def _loop(
    features: BarFeatures, parts: Floats, bars: Sequence[BarFact], first: int, n_bars: int
) -> LoopFact:
    inside = bars[first : first + n_bars]
    start_s, end_s = float(features.lines_s[first]), float(features.lines_s[first + n_bars])
    seam_db = _seam_db(features, start_s, end_s)
    repeats = _repeats(parts, first, n_bars)
    beats_db = 10.0 * np.log10(
        np.mean(
            10.0
            ** (parts[first : first + n_bars].reshape(-1, _PARTS_A_BEAT, parts.shape[2]) / 10.0),
            axis=(1, 2),
        )
    )
    steady_db = float(beats_db.std())
    voice = float(np.mean([bar.voice for bar in inside]))
    score = (
        _REPEAT_WEIGHT * repeats
        - _SEAM_WEIGHT * seam_db
        - _STEADY_WEIGHT * steady_db
        - _VOICE_WEIGHT * voice
    )
    return LoopFact(
        start_s=start_s,
        end_s=end_s,
        n_bars=n_bars,
        quality=float(1.0 / (1.0 + np.exp(_MIDDLE - score))),
        seam_db=seam_db,
        repeats=repeats,
        steady_db=steady_db,
        voice=voice,
        drums=float(np.mean([bar.drums for bar in inside])),
    )


def _seam_db(features: BarFeatures, start_s: float, end_s: float) -> float:
    """How the sound after a place differs from that after another, in decibels over the bands."""
    n_hops = max(round(_SEAM_S / HOP_S), 1)
    first, last = int(features.hop_at(start_s)), int(features.hop_at(end_s))
    after_start = features.bands_db[first : first + n_hops]
    after_end = features.bands_db[last : last + n_hops]
    n_both = min(len(after_start), len(after_end))
    if n_both == 0:
        return float(-features.bands_db.min())
    apart_db = after_start[:n_both].mean(axis=0) - after_end[:n_both].mean(axis=0)
    return float(np.sqrt(np.mean(apart_db**2)))


def _repeats(parts: Floats, first: int, n_bars: int) -> float:
    """The best correlation of levels, about each band's mean, with the bars around."""
    own = parts[first : first + n_bars]
    others = (parts[first + n_bars :][:n_bars], parts[max(first - n_bars, 0) : first])
    found = [_correlation(own, other) for other in others if len(other) == n_bars]
    return max(found, default=0.0)


def _correlation(one: Floats, other: Floats) -> float:
    a, b = (x.reshape(-1, x.shape[-1]) for x in (one, other))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    norm = float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(np.clip((a * b).sum() / norm, -1.0, 1.0)) if norm > 0.0 else 0.0
