"""Where the beats of a counting fall, to the millisecond, and which of them sound.

Attacks: where a sound starts, to a fraction of a millisecond.

The salience of an attack at an instant is the ratio of the energy in a short window after it
to the energy in a window before it, weighted by how loud it gets: it peaks where the energy
starts to rise, not where the spectrum of a long window has risen most.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage, signal

from segue.analysis.metre_net import beat_likelihood
from segue.analysis.onsets import RATE_HZ
from segue.analysis.tempo_grid import TempoGrid, fit_grid

if TYPE_CHECKING:
    from segue.analysis.counting import Counting, Known
    from segue.analysis.heard_part import HeardPart
    from segue.arrays import Flags, Floats, Floats32

STEP_FRAMES: Final = 8  # frames of a step of the attack curve, 0.36 ms; by judgement
STEP_S: Final = STEP_FRAMES / RATE_HZ
_AROUND_S: Final = 2.0  # seconds around that tell how loud it gets; by judgement
_FLOOR_DB: Final = -30.0  # re the loudest around: what is below makes no attack; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AttackCurve:
    """Salience of an attack at every step of `STEP_S`.

    Parameters
    ----------
    salience : ndarray, shape (n_steps,)
        0 where the energy falls.
    """

    salience: Floats


def attack_curve(mono: Floats32, *, after_s: float, before_s: float) -> AttackCurve:
    """Salience of attacks in a sound at `RATE_HZ`.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,)
        Sound at `RATE_HZ`.
    after_s, before_s : float
        Windows over which the energy is taken; short for drums, longer for soft attacks.
    """
    emphasised = np.diff(mono, prepend=mono[:1])
    n_steps = len(mono) // STEP_FRAMES
    energy = np.square(emphasised[: n_steps * STEP_FRAMES], dtype=np.float64)
    energy = energy.reshape(n_steps, STEP_FRAMES).sum(axis=1)
    after = _decaying_mean(energy[::-1], after_s)[::-1]
    before = np.concatenate([[0.0], _decaying_mean(energy, before_s)[:-1]])
    slow = ndimage.maximum_filter1d(after, round(_AROUND_S / STEP_S))
    floor = slow * 10 ** (_FLOOR_DB / 10) + 1e-30
    rise = np.log((after + floor) / (before + floor))
    return AttackCurve(salience=np.maximum(rise, 0.0) * np.sqrt(after / (slow + 1e-30)))


def _decaying_mean(energy: Floats, decay_s: float) -> Floats:
    """Mean of what came until each step, weighted less the longer ago."""
    keep = np.exp(-STEP_S / decay_s)
    mean: Floats = signal.lfilter([1 - keep], [1, -keep], energy)
    return mean


def attacks_near(curve: AttackCurve, near_s: Floats, *, within_s: float) -> tuple[Floats, Floats]:
    """The most salient attack near each of some times.

    Parameters
    ----------
    near_s : ndarray, shape (n,)
        Times.
    within_s : float
        How far from them to look.

    Returns
    -------
    times_s, salience : ndarray, shape (n,)
        Salience is 0 where there is none.
    """
    reach = round(within_s / STEP_S)
    offsets = np.arange(-reach, reach + 1)
    places = np.round(near_s / STEP_S).astype(int)[:, np.newaxis] + offsets
    inside = (places >= 1) & (places < len(curve.salience) - 1)
    window = np.where(inside, curve.salience[np.clip(places, 0, len(curve.salience) - 1)], 0.0)
    nearness = 1.0 - 0.5 * (offsets / (reach + 1.0)) ** 2
    best = np.argmax(window * nearness, axis=1)
    rows = np.arange(len(near_s))
    middle = np.clip(places[rows, best], 1, len(curve.salience) - 2)
    left, peak, right = (curve.salience[middle + d] for d in (-1, 0, 1))
    bend = left - 2 * peak + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    times = (middle + 0.5 + np.clip(shift, -0.5, 0.5)) * STEP_S
    return times, window[rows, best]


# windows in seconds after and before a sharp attack, of drums; by judgement
_SHARP_S: Final = (0.003, 0.010)
_SOFT_S: Final = (0.015, 0.03)  # windows in seconds after and before a soft attack; by judgement
# seconds: attacks that miss the grid by no more are sharp; by judgement
_SHARP_RESIDUAL_S: Final = 0.004
_SOFT_GAIN_RATIO: Final = 1.5  # soft attacks must miss the grid by so many times less; by judgement
# seconds around a beat in which its attack is looked for, by round; by judgement
_REACHES_S: Final = (0.035, 0.021)
_LEAST_ATTACKS: Final = 4  # with fewer attacks the beats stay where they are; by judgement
_LOUDEST_WEIGHT: Final = 2.0  # of the usual one: an attack weighs no more; by judgement
_HEARD_WITHIN_S: Final = 0.02  # seconds: a beat with an attack this near is heard; by judgement
_HEARD_SALIENCE: Final = 0.15  # of the median: an attack that is weaker is none; by judgement
# likelihood by the net from which a beat is heard: it carries a pulse on into what comes before,
# a little less surely; by judgement
_LIKELY: Final = 0.8
_CHANCE: Final = 0.2  # share of beats that are heard where there is no pulse; by judgement
_CUT_EVIDENCE: Final = 4.5  # log odds that free time before the pulse needs; by judgement
# share of beats heard in a pulse, at most, so that one may be missed; by judgement
_SUREST_RATE: Final = 0.9
# seconds after the last attack in which a beat still counts; by judgement
_END_SLACK_S: Final = 0.04
# seconds before the first sound in which a beat still counts; by judgement
_START_SLACK_S: Final = 0.02
_ON_BEAT_S: Final = 0.07  # seconds: a downbeat given this near to a beat is on it; by judgement
# logarithm by which a given tempo must differ to go over the fit; by judgement
_GIVEN_RATIO: Final = 0.05
_N_USUAL: Final = 24  # beats near an end that tell their usual length; by judgement


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
    numbers: Floats
    phase: float

    @property
    def times_s(self) -> Floats:
        """Their times."""
        return self.grid.seconds_at(self.numbers)

    def usual_beat_s(self, *, at_start: bool) -> float:
        """Usual length of a beat near the start or the end.

        Over so many beats a drift counts, and a last bar that slows does not.
        """
        lengths_s = np.diff(self.times_s)
        near_s = lengths_s[:_N_USUAL] if at_start else lengths_s[-_N_USUAL:]
        return float(np.median(near_s))

    def is_downbeat(self, metre: int) -> Flags:
        """Which of them start a bar of so many beats."""
        starts: Flags = np.round(self.numbers - self.phase) % metre == 0
        return starts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """A grid, how many beats it was fitted to, and the curve in which their attacks are."""

    grid: TempoGrid
    n_beats: int
    curve: AttackCurve


def placed_beats(heard: HeardPart, counting: Counting, said: Known) -> PlacedBeats:
    """The beats of a counting at their attacks.

    Parameters
    ----------
    said : Known
        What the musician says: a tempo far from the fit and a downbeat go over what is heard.
    """
    fit = _fit(heard, counting.beats_s)
    grid = fit.grid
    if said.tempo_bpm and abs(np.log(grid.tempo_bpm / said.tempo_bpm)) > _GIVEN_RATIO:
        grid = grid.at_tempo(said.tempo_bpm)
    numbers = _numbers(grid, _first_number(fit, heard), heard)
    if said.downbeat_s is None:
        return PlacedBeats(grid=grid, numbers=numbers, phase=float(counting.phase))
    number = grid.beat_at(said.downbeat_s)
    off_beats = number - round(number)
    if abs(off_beats) * grid.beat_s_at(number) <= _ON_BEAT_S:
        return PlacedBeats(grid=grid, numbers=numbers, phase=float(round(number)))
    return PlacedBeats(grid=grid, numbers=numbers + off_beats, phase=number)


def _fit(heard: HeardPart, beats_s: Floats) -> _Fit:
    """The grid through sharp attacks, or through soft ones where those fit clearly better."""
    sharp = _fit_to(heard, beats_s, _SHARP_S)
    if sharp.grid.residual_s <= _SHARP_RESIDUAL_S:
        return sharp
    soft = _fit_to(heard, beats_s, _SOFT_S)
    is_better = sharp.grid.residual_s > _SOFT_GAIN_RATIO * soft.grid.residual_s
    return soft if is_better else sharp


def _fit_to(heard: HeardPart, beats_s: Floats, windows_s: tuple[float, float]) -> _Fit:
    after_s, before_s = windows_s
    curve = attack_curve(heard.beating, after_s=after_s, before_s=before_s)
    numbers = np.arange(len(beats_s), dtype=np.float64)
    grid = None
    for reach_s in _REACHES_S:
        near_s = beats_s if grid is None else grid.seconds_at(numbers)
        times_s, salience = attacks_near(curve, near_s, within_s=reach_s)
        usual = max(float(np.median(salience)), 1e-9)
        weights = np.minimum(salience / usual, _LOUDEST_WEIGHT)
        if np.count_nonzero(weights) < _LEAST_ATTACKS:
            times_s, weights = beats_s, np.ones(len(beats_s))
        grid = fit_grid(numbers, times_s, weights)
    if grid is None:
        raise ValueError("there is a reach at least")
    return _Fit(grid=grid, n_beats=len(beats_s), curve=curve)


def _first_number(fit: _Fit, heard: HeardPart) -> int:
    """The first beat of the pulse: the first of all, or where something free ends.

    A beat is heard, by an attack or by the net, or not; before the pulse it is heard by chance.
    The pulse begins where the likelihood ratio of pulse to chance, added up from the front, is
    lowest. Soft chords before the drums set in have attacks that are weak beside theirs, but the
    net counts them.
    """
    start_s = float(fit.grid.seconds_at(np.array([0.0]))[0])
    earliest = -int(max(start_s + _START_SLACK_S, 0.0) // fit.grid.beat_s_at(0.0))
    beats_s = fit.grid.seconds_at(np.arange(earliest, fit.n_beats, dtype=np.float64))
    times_s, salience = attacks_near(fit.curve, beats_s, within_s=_REACHES_S[-1])
    loud = salience > _HEARD_SALIENCE * float(np.median(salience))
    by_net = beat_likelihood(heard.evidence.opinion, beats_s) > _LIKELY
    is_heard = ((np.abs(times_s - beats_s) < _HEARD_WITHIN_S) & loud) | by_net
    later = is_heard[len(is_heard) // 3 :]
    rate = min(max(float(later.mean()), _CHANCE + 0.05), _SUREST_RATE)
    ratio = np.where(is_heard, np.log(rate / _CHANCE), np.log((1 - rate) / (1 - _CHANCE)))
    evidence = np.concatenate([[0.0], np.cumsum(ratio)])
    first = int(np.argmin(evidence[:-1]))
    return earliest + (first if evidence[first] < -_CUT_EVIDENCE else 0)


def _numbers(grid: TempoGrid, first: int, heard: HeardPart) -> Floats:
    """Numbers of all beats from the first one to the last attack."""
    end_s = heard.duration_s
    if heard.evidence.last_s is not None:
        end_s = min(heard.evidence.last_s + _END_SLACK_S, end_s)
    last = int(np.ceil(grid.beat_at(end_s))) - 1
    return np.arange(first, max(last, first + 1) + 1, dtype=np.float64)
