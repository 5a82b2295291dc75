"""Which level of a pulse is the beat, how many beats make a bar, and which starts it.

Every reading of a pulse - each multiple and fraction of it as the beat, each metre, each
place of the downbeat - is judged by the same evidence: tempo, onset strength by band on and
between its beats, where harmony and bass change in its bar, how well it repeats after a bar,
where the first sound and the last attack fall. How likely each reading is on
this evidence is said by `metre_odds`. Compound time is counted in dotted beats: 6/8 has two.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from segue.analysis.onsets import HOP_S

if TYPE_CHECKING:
    import numpy.typing as npt

SLOWEST_BPM: Final = 40.0
FASTEST_BPM: Final = 220.0
METRES: Final = (2, 3, 4, 5)
LEVELS: Final = (
    (1 / 3, 0.0),
    (1 / 2, 0.0),
    (2 / 3, 0.0),
    (2 / 3, 1 / 3),
    (1.0, 0.0),
    (1.0, 1 / 2),
    (3 / 2, 0.0),
    (3 / 2, 1 / 2),
    (3 / 2, 1.0),
    (2.0, 0.0),
    (2.0, 1.0),
    (3.0, 0.0),
    (3.0, 1.0),
    (3.0, 2.0),
    (4.0, 0.0),
    (4.0, 1.0),
    (4.0, 2.0),
    (4.0, 3.0),
)
"""Beat length and place of the first beat, in steps of the pulse."""
_PARTS: Final = 12
_PLACES: Final = (0, 2, 3, 4, 6, 8, 9, 10)
_TEMPO_KNOTS_BPM: Final = (40.0, 55.0, 70.0, 85.0, 100.0, 120.0, 140.0, 160.0, 185.0, 220.0)
_LEAST_BEATS: Final = 4
_LONGEST_LAG: Final = 16
_REACH_S: Final = 0.02
_CURVES: Final = ("low", "body", "melody", "high", "harmony", "bass", "chord", "accent", "long")
_N_BANDS: Final = 4
_LONGEST_NOTE_S: Final = 1.2
_NOTE_SHARE: Final = 0.25
_WEAK_SHARE: Final = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What readings are judged by.

    Parameters
    ----------
    bands : ndarray, shape (n_hops, 4)
        Onset strength at hops of `HOP_S`.
    changes : ndarray, shape (n_hops, 3)
        Change of harmony, of the bass, and of harmony over a longer time.
    accent : ndarray, shape (n_hops,)
        Rise of loudness.
    first_s, last_s : float or None
        First sound and last attack, in seconds from the first hop; None where the edge
        is cut there.
    """

    bands: npt.NDArray[np.float64]
    changes: npt.NDArray[np.float64]
    accent: npt.NDArray[np.float64]
    first_s: float | None
    last_s: float | None

    @cached_property
    def curves(self) -> npt.NDArray[np.float64]:
        """All curves side by side, each raised to its strongest nearby, of mean 1."""
        near = 2 * round(_REACH_S / HOP_S) + 1
        rest = np.stack([self.accent, _longest_notes(self.bands.mean(axis=1))], axis=1)
        together = np.concatenate([self.bands, self.changes, rest], axis=1)
        raised = ndimage.maximum_filter1d(together, near, axis=0)
        mean = raised.mean(axis=0)
        least = np.zeros(len(mean))
        least[:_N_BANDS] = _WEAK_SHARE * mean[:_N_BANDS].max()
        scaled: npt.NDArray[np.float64] = raised / np.maximum(mean, least + 1e-12)
        return scaled


def _longest_notes(strength: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """At each onset the time until the next, in seconds; 0 elsewhere."""
    smooth = ndimage.gaussian_filter1d(strength, _REACH_S / HOP_S)
    least = _NOTE_SHARE * np.quantile(smooth, 0.98)
    inner = smooth[1:-1]
    peaks = np.flatnonzero((inner > smooth[:-2]) & (inner >= smooth[2:]) & (inner > least)) + 1
    lengths = np.zeros(len(strength))
    if len(peaks):
        until_s = np.diff(peaks, append=len(strength)) * HOP_S
        lengths[peaks] = np.minimum(until_s, _LONGEST_NOTE_S)
    return lengths


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """A pulse counted at one level, with the evidence for it and for its bars.

    Parameters
    ----------
    beat_steps, first_step : float
        Length of a beat and place of the first beat, in steps of the pulse.
    beats_s : ndarray, shape (n_beats,)
        Its beats, roughly, in seconds from the first hop.
    for_beats : ndarray, shape (n,)
        What `beat_names` lists.
    for_bars : dict of int to ndarray, shape (metre, n)
        For each metre what `bar_names` lists, one row a place of the downbeat.
    """

    beat_steps: float
    first_step: float
    beats_s: npt.NDArray[np.float64]
    for_beats: npt.NDArray[np.float64]
    for_bars: dict[int, npt.NDArray[np.float64]]

    @property
    def beat_s(self) -> float:
        """Usual length of a beat in seconds."""
        return float(np.median(np.diff(self.beats_s)))


def beat_names() -> list[str]:
    """Names of the evidence for beats."""
    tempi = [f"tempo {knot:.0f}" for knot in _TEMPO_KNOTS_BPM]
    return tempi + [f"{curve} at {place}/12" for place in _PLACES for curve in _CURVES]


def leanings(for_beats: npt.NDArray[np.float64]) -> list[float]:
    """Whether beats are divided by three or by four rather than by two, and their tempo.

    Which metres are likely hangs on this: 6/8 has two beats a bar.
    """
    n_knots = len(_TEMPO_KNOTS_BPM)
    on_places = for_beats[n_knots:].reshape(len(_PLACES), -1)[:, :_N_BANDS].mean(axis=1)
    strength = dict(zip(_PLACES, on_places, strict=True))
    by_three = (strength[4] + strength[8]) / 2 - strength[6]
    by_four = (strength[3] + strength[9]) / 2 - strength[6]
    octaves = float(for_beats[:n_knots] @ np.log2(np.array(_TEMPO_KNOTS_BPM) / 100.0))
    return [float(by_three), octaves, float(by_four)]


def bar_names(metre: int) -> list[str]:
    """Names of the evidence for bars of a metre; 'any' weighs in every metre."""
    own = [f"{metre}", f"{metre} again", f"{metre} again twice", f"{metre} half"]
    common = ["any first", "any last"]
    down = [f"any {curve}{half}" for half in ("", "+") for curve in _CURVES]
    places = [
        f"{metre} {curve} {place}{half}"
        for place in range(metre)
        for half in ("", "+")
        for curve in _CURVES
    ]
    return own + common + down + places


def levels_of(
    evidence: Evidence,
    pulse_s: npt.NDArray[np.float64],
    *,
    metres: tuple[int, ...] = METRES,
    given_bpm: float | None = None,
) -> list[Level]:
    """Every level of a pulse within the tempi that are heard.

    Parameters
    ----------
    evidence : Evidence
        Curves of the sound.
    pulse_s : ndarray, shape (n_steps,)
        Times of the pulse, seconds from the first hop.
    metres : tuple of int
        Metres to consider.
    given_bpm : float or None
        Tempo that the musician gives: the pulse is the beat, however slow or fast.
    """
    curves = evidence.curves
    step_s = float(np.median(np.diff(pulse_s)))
    levels = []
    for beat_steps, first_step in LEVELS:
        bpm = 60.0 / (step_s * beat_steps)
        n_beats = int((len(pulse_s) - 1 - first_step) / beat_steps) + 1
        is_fit = SLOWEST_BPM <= bpm <= FASTEST_BPM if given_bpm is None else beat_steps == 1.0
        if not is_fit or n_beats < _LEAST_BEATS:
            continue
        grid = _sampled(curves, pulse_s, beat_steps, first_step, n_beats)
        ends = [
            None if t is None else (_step_at(pulse_s, t) - first_step) / beat_steps
            for t in (evidence.first_s, evidence.last_s)
        ]
        levels.append(
            Level(
                beat_steps=beat_steps,
                first_step=first_step,
                beats_s=np.interp(
                    first_step + beat_steps * np.arange(n_beats), np.arange(len(pulse_s)), pulse_s
                ),
                for_beats=_for_beats(grid, bpm),
                for_bars=_for_bars(grid, metres, ends),
            )
        )
    return levels


def _sampled(
    curves: npt.NDArray[np.float64],
    pulse_s: npt.NDArray[np.float64],
    beat_steps: float,
    first_step: float,
    n_beats: int,
) -> npt.NDArray[np.float64]:
    """Curves on twelve parts of each beat, shape (n_beats, 12, n_curves)."""
    places = first_step + beat_steps * np.arange(n_beats * _PARTS) / _PARTS
    steps = np.arange(len(pulse_s))
    times = np.interp(places, steps, pulse_s)
    beyond = places > steps[-1]
    times[beyond] += (places[beyond] - steps[-1]) * (pulse_s[-1] - pulse_s[-2])
    at = np.clip(np.round(times / HOP_S).astype(int), 0, len(curves) - 1)
    grid: npt.NDArray[np.float64] = curves[at].reshape(n_beats, _PARTS, -1)
    return grid


def _step_at(pulse_s: npt.NDArray[np.float64], time_s: float) -> float:
    """Step of the pulse at a time, also before it and after it."""
    inside = min(max(time_s, float(pulse_s[0])), float(pulse_s[-1]))
    step_s = float(np.median(np.diff(pulse_s)))
    return float(np.interp(inside, pulse_s, np.arange(len(pulse_s)))) + (time_s - inside) / step_s


def _for_beats(grid: npt.NDArray[np.float64], bpm: float) -> npt.NDArray[np.float64]:
    knots = np.log(_TEMPO_KNOTS_BPM)
    hats = [np.interp(np.log(bpm), knots, row) for row in np.eye(len(knots))]
    mean = np.sqrt(grid.mean(axis=0)[list(_PLACES)])
    return np.concatenate([hats, mean.ravel()])


def _for_bars(
    grid: npt.NDArray[np.float64], metres: tuple[int, ...], ends: list[float | None]
) -> dict[int, npt.NDArray[np.float64]]:
    """Evidence for each metre, shape (metre, n), one row a place of the downbeat."""
    again = _likeness(grid)
    usual = float(again[1:].mean()) if len(again) > 1 else 0.0
    halves = grid[:, [0, _PARTS // 2]].reshape(len(grid), -1)
    found = {}
    for metre in metres:
        lags = (metre, 2 * metre, metre // 2)
        own = [1.0] + [again[lag] - usual if 1 <= lag < len(again) else 0.0 for lag in lags]
        n_bars = len(grid) // metre
        bar = np.zeros((metre, halves.shape[1]))
        if n_bars:
            bar = halves[: n_bars * metre].reshape(n_bars, metre, -1).mean(axis=0)
            bar -= bar.mean(axis=0)
        turned = bar[(np.arange(metre)[:, np.newaxis] + np.arange(metre)) % metre]
        at_ends = [[_nearness(end, metre, phase) for end in ends] for phase in range(metre)]
        parts = [np.tile(own, (metre, 1)), at_ends, bar, turned.reshape(metre, -1)]
        found[metre] = np.concatenate(parts, axis=1)
    return found


def _nearness(beat: float | None, metre: int, phase: int) -> float:
    """How near a beat number is to a bar line: 1 on it, 0 half a beat away."""
    if beat is None:
        return 0.0
    off = (beat - phase + metre / 2) % metre - metre / 2
    return max(1.0 - 2 * abs(off), 0.0)


def _likeness(grid: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Correlation of the beats with those 0, 1, ... later."""
    vectors = grid.reshape(len(grid), -1)
    vectors = vectors - vectors.mean(axis=0)
    product = vectors @ vectors.T
    power = float(np.trace(product)) / len(grid) + 1e-12
    n_lags = min(_LONGEST_LAG + 1, len(grid) - 1)
    return np.array([np.trace(product, lag) / (len(grid) - lag) / power for lag in range(n_lags)])
