"""A grid of beats through attacks: one steady tempo, or a smooth curve where the player drifts.

Beat times are a function of the beat number. The simplest one that the attacks support is
taken, by the Bayesian information criterion over a robust least-squares fit (Tukey's biweight):
a straight line, a parabola, or cubic splines with ever more knots.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.interpolate import BSpline

if TYPE_CHECKING:
    from segue.arrays import Floats

_KNOT_BEATS: Final = (32, 16, 8, 5)  # beats a knot of the splines, from stiff to free; by judgement
_TUKEY: Final = 4.685
"""Reach of the biweight in spreads: 95 % efficient for normal errors (common practice)."""
_NORMAL_SPREAD: Final = 1.4826
"""Standard deviation of normal errors over the median of their sizes."""
_LEAST_SPREAD_S: Final = 0.0003  # seconds: errors are never taken to be smaller; by judgement
_TERM_COST: Final = 3.0
"""Cost of a term in the criterion: above the usual 1, as attacks of soft notes err together."""
_AROUND_BEATS: Final = 4  # beats before and after that tell the length of one; by judgement
_N_ROUNDS: Final = 8  # rounds of reweighting, and of the search for a beat number; by judgement
# least robust weight of an attack that the grid goes through; by judgement
_COUNTS_FROM: Final = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TempoGrid:
    """Times of beats as a smooth function of the beat number.

    Parameters
    ----------
    curve : BSpline
        Seconds at a beat number, within the numbers that were fitted.
    first_beat, last_beat : float
        The beat numbers that were fitted; beyond them the tempo holds.
    residual_s : float
        Root mean square distance of the attacks that count from the grid.
    """

    curve: BSpline
    first_beat: float
    last_beat: float
    residual_s: float

    def seconds_at(self, beats: Floats) -> Floats:
        """Times of beat numbers, which need not be whole nor within the fit."""
        inside = np.clip(beats, self.first_beat, self.last_beat)
        times = np.asarray(self.curve(inside), dtype=np.float64)
        times += np.minimum(beats - self.first_beat, 0.0) * self.beat_s_at(self.first_beat)
        times += np.maximum(beats - self.last_beat, 0.0) * self.beat_s_at(self.last_beat)
        return times

    def beat_s_at(self, beat: float) -> float:
        """Length of a beat, from the beats up to four before and after it."""
        inside = min(max(beat, self.first_beat), self.last_beat)
        low = max(inside - _AROUND_BEATS, self.first_beat)
        high = min(inside + _AROUND_BEATS, self.last_beat)
        ends_s = self.curve(np.array([low, high]))
        return float(ends_s[1] - ends_s[0]) / (high - low)

    @property
    def tempo_bpm(self) -> float:
        """Tempo over all beats that were fitted."""
        ends = self.curve(np.array([self.first_beat, self.last_beat]))
        return 60.0 * (self.last_beat - self.first_beat) / float(ends[1] - ends[0])

    def beat_at(self, time_s: float) -> float:
        """Beat number at a time, which need not be whole nor within the fit."""
        beat = self.first_beat + (time_s - float(self.curve(self.first_beat))) * self.tempo_bpm / 60
        for _ in range(_N_ROUNDS):
            off_s = time_s - float(self.seconds_at(np.array([beat]))[0])
            beat += off_s / self.beat_s_at(beat)
        return beat

    def at_tempo(self, tempo_bpm: float) -> TempoGrid:
        """A steady grid of another tempo through the middle beat of this one."""
        middle = round((self.first_beat + self.last_beat) / 2)
        middle_s = float(self.curve(middle))
        ends = np.array([self.first_beat, self.last_beat])
        knots = np.repeat(ends, 2)
        line = BSpline(knots, middle_s + (ends - middle) * 60.0 / tempo_bpm, 1)
        return replace(self, curve=line)


def fit_grid(beats: Floats, times_s: Floats, weights: Floats) -> TempoGrid:
    """The simplest grid that the attacks support.

    Parameters
    ----------
    beats, times_s : ndarray, shape (n,)
        Beat numbers, ascending, and where their attacks were heard. At least two.
    weights : ndarray, shape (n,)
        How clear each attack is, 0 to leave it out.
    """
    n_beats = beats[-1] - beats[0]
    shapes = [(1, 0), (2, 0)] + [(3, int(n_beats // knot)) for knot in _KNOT_BEATS]
    best: tuple[float, TempoGrid] | None = None
    for degree, n_inner in dict.fromkeys(shapes):
        n_terms = degree + 1 + n_inner
        if n_terms > max(2, int(np.count_nonzero(weights)) // 3):
            continue
        grid, spread = _robust_fit(beats, times_s, weights, degree=degree, n_inner=n_inner)
        n_heard = float(np.count_nonzero(weights))
        cost = 2 * n_heard * np.log(spread) + _TERM_COST * n_terms * np.log(n_heard)
        if best is None or cost < best[0]:
            best = (cost, grid)
    if best is None:
        raise ValueError("a grid needs at least two attacks")
    return best[1]


def _robust_fit(
    beats: Floats, times_s: Floats, weights: Floats, *, degree: int, n_inner: int
) -> tuple[TempoGrid, float]:
    """Reweighted least squares; the grid and the robust spread of its residuals."""
    first, last = float(beats[0]), float(beats[-1])
    inner = np.linspace(first, last, n_inner + 2)[1:-1]
    knots = np.concatenate([[first] * (degree + 1), inner, [last] * (degree + 1)])
    basis = BSpline.design_matrix(beats, knots, degree).toarray()
    trust = weights / max(float(weights.max()), 1e-12)
    rough = np.ones(len(trust))
    terms = np.zeros(basis.shape[1])
    residual, spread = times_s, 1.0
    for _ in range(_N_ROUNDS):
        root = np.sqrt(trust * rough)[:, np.newaxis]
        terms[:] = np.linalg.lstsq(basis * root, times_s * root[:, 0], rcond=None)[0]
        residual = np.asarray(times_s - basis @ terms, dtype=np.float64)
        heard = np.abs(residual[weights > 0])
        spread = max(_NORMAL_SPREAD * float(np.median(heard)), _LEAST_SPREAD_S)
        inside = np.clip(1 - np.square(residual / (_TUKEY * spread)), 1e-3, None)
        rough = inside * inside
    counts = (rough > _COUNTS_FROM) & (weights > 0)
    rms = float(np.sqrt(np.mean(np.square(residual[counts])))) if counts.any() else 0.0
    grid = TempoGrid(
        curve=BSpline(knots, terms, degree), first_beat=first, last_beat=last, residual_s=rms
    )
    return grid, spread
