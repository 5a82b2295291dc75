"""Where the beats of a counting fall, to the millisecond, and which of them sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.attacks import attack_curve, attacks_near
from segue.analysis.tempo_grid import TempoGrid, fit_grid

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.analysis.counting import Counting, Said
    from segue.analysis.heard_part import HeardPart

_SHARP_S: Final = (0.003, 0.010)
_SOFT_S: Final = (0.015, 0.03)
_SHARP_RESIDUAL_S: Final = 0.004
_SOFT_GAIN_RATIO: Final = 1.5
_REACHES_S: Final = (0.035, 0.021)
_LEAST_ATTACKS: Final = 4
_LOUDEST_WEIGHT: Final = 2.0
_HEARD_WITHIN_S: Final = 0.02
_HEARD_SALIENCE: Final = 0.15
_CHANCE: Final = 0.2
_CUT_EVIDENCE: Final = 4.5
_SUREST_RATE: Final = 0.9
_END_SLACK_S: Final = 0.04
_START_SLACK_S: Final = 0.02
_ON_BEAT_S: Final = 0.07
_GIVEN_RATIO: Final = 0.05
_N_USUAL: Final = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedBeats:
    """Beats on a grid.

    Parameters
    ----------
    grid : TempoGrid
        Times of beat numbers, in seconds from the first frame of the heard part.
    numbers : ndarray, shape (n_beats,)
        The beats that sound, one apart, ascending.
    phase : float
        Number of a downbeat.
    """

    grid: TempoGrid
    numbers: npt.NDArray[np.float64]
    phase: float

    @property
    def times_s(self) -> npt.NDArray[np.float64]:
        """Their times."""
        return self.grid.seconds_at(self.numbers)

    def usual_beat_s(self, *, at_start: bool) -> float:
        """Usual length of a beat near the start or the end.

        Over so many beats a drift counts, and a last bar that slows does not.
        """
        lengths_s = np.diff(self.times_s)
        near_s = lengths_s[:_N_USUAL] if at_start else lengths_s[-_N_USUAL:]
        return float(np.median(near_s))

    def is_downbeat(self, metre: int) -> npt.NDArray[np.bool_]:
        """Which of them start a bar of so many beats."""
        starts: npt.NDArray[np.bool_] = np.round(self.numbers - self.phase) % metre == 0
        return starts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """A grid, and the attacks near its beats that it was fitted to."""

    grid: TempoGrid
    off_s: npt.NDArray[np.float64]
    salience: npt.NDArray[np.float64]


def placed_beats(heard: HeardPart, counting: Counting, said: Said) -> PlacedBeats:
    """The beats of a counting at their attacks.

    Parameters
    ----------
    heard : HeardPart
        The sound.
    counting : Counting
        Where the beats roughly are.
    said : Said
        What the musician says: a tempo far from the fit and a downbeat go over what is heard.
    """
    fit = _fit(heard, counting.beats_s)
    grid = fit.grid
    if said.tempo_bpm and abs(np.log(grid.tempo_bpm / said.tempo_bpm)) > _GIVEN_RATIO:
        grid = grid.at_tempo(said.tempo_bpm)
    numbers = _numbers(grid, _first_number(fit), heard)
    if said.downbeat_s is None:
        return PlacedBeats(grid=grid, numbers=numbers, phase=float(counting.phase))
    number = grid.beat_at(said.downbeat_s)
    off_beats = number - round(number)
    if abs(off_beats) * grid.beat_s_at(number) <= _ON_BEAT_S:
        return PlacedBeats(grid=grid, numbers=numbers, phase=float(round(number)))
    return PlacedBeats(grid=grid, numbers=numbers + off_beats, phase=number)


def _fit(heard: HeardPart, beats_s: npt.NDArray[np.float64]) -> _Fit:
    """The grid through sharp attacks, or through soft ones where those fit clearly better."""
    sharp = _fit_to(heard, beats_s, _SHARP_S)
    if sharp.grid.residual_s <= _SHARP_RESIDUAL_S:
        return sharp
    soft = _fit_to(heard, beats_s, _SOFT_S)
    is_better = sharp.grid.residual_s > _SOFT_GAIN_RATIO * soft.grid.residual_s
    return soft if is_better else sharp


def _fit_to(
    heard: HeardPart, beats_s: npt.NDArray[np.float64], windows_s: tuple[float, float]
) -> _Fit:
    after_s, before_s = windows_s
    curve = attack_curve(heard.beating, after_s=after_s, before_s=before_s)
    numbers = np.arange(len(beats_s), dtype=np.float64)
    grid, off_s, salience = None, beats_s, beats_s
    for reach_s in _REACHES_S:
        near_s = beats_s if grid is None else grid.seconds_at(numbers)
        times_s, salience = attacks_near(curve, near_s, within_s=reach_s)
        usual = max(float(np.median(salience)), 1e-9)
        weights = np.minimum(salience / usual, _LOUDEST_WEIGHT)
        if np.count_nonzero(weights) < _LEAST_ATTACKS:
            times_s, weights = beats_s, np.ones(len(beats_s))
        grid = fit_grid(numbers, times_s, weights)
        off_s = times_s - grid.seconds_at(numbers)
    if grid is None:
        raise ValueError("there is a reach at least")
    return _Fit(grid=grid, off_s=off_s, salience=salience)


def _first_number(fit: _Fit) -> int | None:
    """The first beat of the pulse where something free comes before it; None otherwise.

    A beat has an attack or not; before the pulse it has one by chance. The pulse begins where
    the likelihood ratio of pulse to chance, added up from the front, is lowest.
    """
    loud = fit.salience > _HEARD_SALIENCE * float(np.median(fit.salience))
    is_heard = (np.abs(fit.off_s) < _HEARD_WITHIN_S) & loud
    later = is_heard[len(is_heard) // 3 :]
    rate = min(max(float(later.mean()), _CHANCE + 0.05), _SUREST_RATE)
    ratio = np.where(is_heard, np.log(rate / _CHANCE), np.log((1 - rate) / (1 - _CHANCE)))
    evidence = np.concatenate([[0.0], np.cumsum(ratio)])
    first = int(np.argmin(evidence[:-1]))
    return first if evidence[first] < -_CUT_EVIDENCE else None


def _numbers(
    grid: TempoGrid, first_number: int | None, heard: HeardPart
) -> npt.NDArray[np.float64]:
    """Numbers of all beats from the first one to the last attack."""
    if first_number is None:
        start_s = float(grid.seconds_at(np.array([0.0]))[0])
        first = -int(max(start_s + _START_SLACK_S, 0.0) // grid.beat_s_at(0.0))
    else:
        first = first_number
    end_s = heard.duration_s
    if heard.evidence.last_s is not None:
        end_s = min(heard.evidence.last_s + _END_SLACK_S, end_s)
    last = int(np.ceil(grid.beat_at(end_s))) - 1
    return np.arange(first, max(last, first + 1) + 1, dtype=np.float64)
