"""The pulse of an edge: tempo, beats and bars.

Onset strength gives regular pulses (`beats`), evidence of metre says how to count them
(`metre`, `counting`), attacks place the beats to the millisecond (`attacks`), and a smooth
grid is fitted through them (`tempo_grid`). Compound time is counted in dotted beats: 6/8 has
two beats a bar.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.attacks import attack_curve, attacks_near
from segue.analysis.counting import Counting, Said, likeliest_counting
from segue.analysis.facts import PulseFact
from segue.analysis.heard_part import HeardPart, heard_part
from segue.analysis.tempo_grid import TempoGrid, fit_grid

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.audio.clip import SongEdge

_SHARP_S: Final = (0.003, 0.010)
_SOFT_S: Final = (0.015, 0.03)
_WITHIN_S: Final = 0.035
_SHARP_RESIDUAL_S: Final = 0.004
_LEAST_ATTACKS: Final = 4
_LOUDEST_WEIGHT: Final = 2.0
_HEARD_WITHIN_S: Final = 0.02
_HEARD_SALIENCE: Final = 0.3
_CHANCE: Final = 0.2
_CUT_EVIDENCE: Final = 2.5
_END_SLACK_S: Final = 0.04
_START_SLACK_S: Final = 0.02
_ON_BEAT_S: Final = 0.07
_GIVEN_RATIO: Final = 0.05
_SAME_TEMPO_RATIO: Final = 0.03
_N_ALTERNATIVES: Final = 4
_FREE_TIME_BPM: Final = 120.0
_FREE_TIME_METRE: Final = 4


def hear_pulse(
    edge: SongEdge,
    *,
    tempo_bpm: float | None = None,
    metre: int | None = None,
    first_downbeat_s: float | None = None,
) -> PulseFact:
    """Tempo, beats and bars of an edge.

    Parameters
    ----------
    edge : SongEdge
        The end or the start of a song.
    tempo_bpm, metre, first_downbeat_s : float, int, float or None
        What the musician says; obeyed.

    Returns
    -------
    PulseFact
        Without beats and with confidence 0 where no pulse is heard.
    """
    heard = heard_part(edge)
    if heard is None:
        return _free_time(tempo_bpm, metre)
    downbeat_s = None if first_downbeat_s is None else first_downbeat_s - heard.start_s
    said = Said(tempo_bpm=tempo_bpm, metre=metre, downbeat_s=downbeat_s)
    counting = likeliest_counting(heard.evidence, said)
    if counting is None:
        return _free_time(tempo_bpm, metre)
    grid, attacks_s, salience = _grid(heard, counting.beats_s)
    if tempo_bpm is not None and abs(np.log(grid.tempo_bpm / tempo_bpm)) > _GIVEN_RATIO:
        grid = grid.at_tempo(tempo_bpm)
    first = _first_beat(grid, attacks_s, salience, heard)
    numbers, phase = _numbers(grid, first, heard), float(counting.phase)
    if downbeat_s is not None:
        numbers, phase = _phased(grid, numbers, downbeat_s)
    return _fact(edge, heard, counting, grid, numbers, phase, said)


def _fact(edge, heard, counting, grid, numbers, phase, said) -> PulseFact:
    times = grid.seconds_at(numbers) + heard.start_s
    downs = times[np.round(numbers - phase) % counting.metre == 0]
    at_join = numbers[0] if edge.edge == "start" else numbers[-1]
    tempo_bpm = 60.0 / grid.beat_s_at(float(at_join))
    return PulseFact(
        tempo_bpm=tempo_bpm,
        tempo_alternatives_bpm=_alternatives(tempo_bpm, counting),
        beats_s=tuple(times.tolist()),
        downbeats_s=tuple(downs.tolist()),
        metre=counting.metre,
        confidence=counting.beat_share,
        downbeat_confidence=counting.bar_share,
        residual_ms=1000 * grid.residual_s,
        source="heard" if said.tempo_bpm is None else "given",
    )


Attacks = "tuple[TempoGrid, npt.NDArray[np.float64], npt.NDArray[np.float64]]"


def _grid(heard, beats_s):
    """The grid of the beats: through sharp attacks, or soft ones where those fit better."""
    sharp = _grid_of(heard, beats_s, _SHARP_S)
    if sharp[0].residual_s <= _SHARP_RESIDUAL_S:
        return sharp
    soft = _grid_of(heard, beats_s, _SOFT_S)
    return sharp if sharp[0].residual_s <= 1.5 * soft[0].residual_s else soft


def _grid_of(heard, beats_s, windows_s):
    curve = attack_curve(heard.beating, after_s=windows_s[0], before_s=windows_s[1])
    numbers = np.arange(len(beats_s), dtype=np.float64)
    near_s, within_s = beats_s, _WITHIN_S
    grid, times, salience = None, beats_s, np.zeros(len(beats_s))
    for narrower in (1.0, 0.6):
        times, salience = attacks_near(curve, near_s, within_s=narrower * within_s)
        weights = np.minimum(salience / max(float(np.median(salience)), 1e-9), _LOUDEST_WEIGHT)
        if np.count_nonzero(weights) < _LEAST_ATTACKS:
            times, weights = beats_s, np.ones(len(beats_s))
        grid = fit_grid(numbers, times, weights)
        near_s = grid.seconds_at(numbers)
    return grid, times, salience


def _first_beat(grid, attacks_s, salience, heard) -> int:
    """Number of the first beat that belongs to the pulse, not to a free intro before it.

    Beats are heard or not; before the pulse they are so by chance. The first beat is where
    the likelihood ratio of pulse to chance, added up from the front, is lowest.
    """
    numbers = np.arange(len(attacks_s))
    off_s = np.abs(attacks_s - grid.seconds_at(numbers.astype(np.float64)))
    usual = float(np.median(salience))
    is_heard = (off_s < _HEARD_WITHIN_S) & (salience > _HEARD_SALIENCE * usual)
    late = is_heard[len(is_heard) // 3 :]
    rate = min(max(float(late.mean()), _CHANCE + 0.05), 0.97)
    ratio = np.where(is_heard, np.log(rate / _CHANCE), np.log((1 - rate) / (1 - _CHANCE)))
    evidence = np.concatenate([[0.0], np.cumsum(ratio)])
    first = int(np.argmin(evidence))
    return first if evidence[first] < -_CUT_EVIDENCE else -1


def _numbers(grid: TempoGrid, first: int, heard: HeardPart) -> npt.NDArray[np.float64]:
    """Numbers of all beats of the grid where the pulse sounds."""
    if first < 0:
        start_s = float(grid.seconds_at(np.array([0.0]))[0])
        first = -int(max(start_s + _START_SLACK_S, 0.0) // grid.beat_s_at(0.0))
    end_s = heard.duration_s - 1e-9
    if heard.evidence.last_s is not None:
        end_s = min(heard.evidence.last_s + _END_SLACK_S, end_s)
    last_s = float(grid.seconds_at(np.array([grid.last_beat]))[0])
    n_more = int(np.floor((end_s - last_s) / grid.beat_s_at(grid.last_beat)))
    last = max(grid.last_beat + n_more, first + 1)
    return np.arange(first, last + 1, dtype=np.float64)


def _phased(grid, numbers, downbeat_s):
    """The beats such that a bar starts where the musician says, and the number of that beat."""
    number = grid.beat_at(downbeat_s)
    nearest = round(number)
    if abs(number - nearest) * grid.beat_s_at(nearest) <= _ON_BEAT_S:
        return numbers, float(nearest)
    shifted = numbers + (number - nearest)
    return shifted, number


def _alternatives(tempo_bpm: float, counting: Counting) -> tuple[float, ...]:
    """Other tempi, likeliest first, the half and the double among them."""
    counted_bpm = counting.tempi_bpm[0]
    ratios = [bpm / counted_bpm for bpm in counting.tempi_bpm]
    kept: list[float] = []
    for ratio in [*ratios, 0.5, 2.0]:
        if all(abs(np.log(ratio / other)) > _SAME_TEMPO_RATIO for other in [1.0, *kept]):
            kept.append(ratio)
    chosen = kept[:_N_ALTERNATIVES]
    chosen += [r for r in kept if r not in chosen and min(abs(r - 0.5), abs(r - 2)) < _SAME_TEMPO_RATIO]
    return tuple(tempo_bpm * ratio for ratio in chosen)


def _free_time(tempo_bpm: float | None, metre: int | None) -> PulseFact:
    return PulseFact(
        tempo_bpm=tempo_bpm or _FREE_TIME_BPM,
        tempo_alternatives_bpm=(),
        beats_s=(),
        downbeats_s=(),
        metre=metre or _FREE_TIME_METRE,
        confidence=0.0,
        downbeat_confidence=0.0,
        residual_ms=0.0,
        source="heard" if tempo_bpm is None else "given",
    )
