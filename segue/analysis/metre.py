"""Which level of a pulse is the beat, how many beats make a bar, and which starts it.

Every reading of a pulse - each multiple and fraction of it as the beat, each metre, each
place of the downbeat - is judged by the same evidence: tempo, onset strength by band on and
between its beats, where harmony and bass change in its bar, how well it repeats after a bar,
where the first sound and the last attack fall. How likely each reading is on
this evidence is said by `metre_odds`. Compound time is counted in dotted beats: 6/8 has two.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.heard_part import CURVES, Evidence
from segue.analysis.metre_net import USUAL_BAR_S, HeardByNet
from segue.analysis.onsets import HOP_S, N_BANDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.arrays import Floats


SLOWEST_BPM: Final = 40.0  # beats a minute: nothing slower is counted; by judgement
FASTEST_BPM: Final = 220.0  # beats a minute: nothing faster is counted; by judgement
METRES: Final = (2, 3, 4, 5)  # beats of a bar that are told apart; by judgement
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
_USUAL_BEATS: Final = 4  # of a bar, where a tempo that is told says how long it is; by judgement
_PARTS: Final = 12  # a beat is sampled at its twelfths: halves, thirds and quarters; by judgement
# twelfths of a beat that are evidence: its halves, thirds, quarters and sixths
_PLACES: Final = (0, 2, 3, 4, 6, 8, 9, 10)
# beats a minute: the odds of a tempo are a line between these; by judgement
_TEMPO_KNOTS_BPM: Final = (40.0, 55.0, 70.0, 85.0, 100.0, 120.0, 140.0, 160.0, 185.0, 220.0)
_LEAST_BEATS: Final = 4  # a level with fewer beats is not judged; by judgement
_LONGEST_LAG: Final = 16  # beats apart up to which likeness is heard; by judgement
# beats apart at which likeness is evidence for a beat; by judgement
_LAGS: Final = (1, 2, 3, 4, 6, 8, 12)
_CHORDS: Final = ("harmony", "bass", "chord")
_SAME_S: Final = 0.012  # seconds: beats that lie nearer than this are one; by judgement
_SAME_RATIO: Final = 0.02  # share of a beat: lengths nearer than this are one; by judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeatLevel:
    """A pulse counted at one level, with the evidence for it and for its bars.

    Parameters
    ----------
    beat_s : float
        Usual length of a beat in seconds.
    beats_s : ndarray, shape (n_beats,)
        Its beats, roughly, in seconds from the first hop.
    for_beats : ndarray, shape (n,)
        What `beat_names` lists.
    for_bars : dict of int to ndarray, shape (metre, n)
        For each metre what `bar_names` lists, one row a place of the downbeat.
    by_net : dict of int to ndarray, shape (metre, n)
        For each metre what `metre_net.NET_COLUMNS` lists, one row a place of the downbeat.
    """

    beat_s: float
    beats_s: Floats
    for_beats: Floats
    for_bars: dict[int, Floats]
    by_net: dict[int, Floats]


@lru_cache(maxsize=1)
def _beat_groups() -> dict[str, list[str]]:
    """Names of the evidence for beats by group: the order here is the order of the columns."""
    return {
        "tempo": [f"tempo {knot:.0f}" for knot in _TEMPO_KNOTS_BPM],
        "strength": [f"{curve} at {place}/12" for place in _PLACES for curve in CURVES],
        "onsets": [f"onsets at {place}/12" for place in _PLACES],
        "again": [f"again {lag}" for lag in _LAGS],
        "chords again": [f"chords again {lag}" for lag in _LAGS],
        "octaves": ["tempo"],
        "rate": ["onsets a beat"],
        "peaks": [f"peaks {curve}" for curve in CURVES[:N_BANDS]],
    }


@lru_cache(maxsize=16)
def _bar_groups(metre: int) -> dict[str, list[str]]:
    """Names of the evidence for bars of a metre, likewise."""
    halves = ("", "+")
    return {
        "own": [f"{metre}", f"{metre} again", f"{metre} again twice", f"{metre} half"],
        "first": ["any first"],
        "last": ["any last"],
        "down": [f"any {curve}{half}" for half in halves for curve in CURVES],
        "places": [
            f"{metre} {curve} {place}{half}"
            for place in range(metre)
            for half in halves
            for curve in CURVES
        ],
        "ends": [
            f"{metre} {end} {place}" for place in range(1, metre) for end in ("first", "last")
        ],
    }


def beat_names() -> list[str]:
    """Names of the evidence for beats."""
    return [name for names in _beat_groups().values() for name in names]


def _of_group(for_beats: Floats, wanted: str) -> Floats:
    """The columns of one group of the evidence for beats."""
    groups = _beat_groups()
    first = sum(len(names) for names in list(groups.values())[: list(groups).index(wanted)])
    return for_beats[first : first + len(groups[wanted])]


def leanings(for_beats: Floats) -> list[float]:
    """Whether beats are divided by three or by four rather than by two, and their tempo.

    Which metres are likely hangs on this: 6/8 has two beats a bar.
    """
    by_place = _of_group(for_beats, "strength").reshape(len(_PLACES), -1)
    on_places = by_place[:, :N_BANDS].mean(axis=1)
    strength = dict(zip(_PLACES, on_places, strict=True))
    by_three = (strength[4] + strength[8]) / 2 - strength[6]
    by_four = (strength[3] + strength[9]) / 2 - strength[6]
    octaves = float(_of_group(for_beats, "tempo") @ np.log2(np.array(_TEMPO_KNOTS_BPM) / 100.0))
    return [float(by_three), octaves, float(by_four)]


def bar_names(metre: int) -> list[str]:
    """Names of the evidence for bars of a metre; 'any' weighs in every metre."""
    return [name for names in _bar_groups(metre).values() for name in names]


def levels_of(
    evidence: Evidence,
    pulses_s: Sequence[Floats],
    *,
    metres: tuple[int, ...] = METRES,
    given_bpm: float | None = None,
) -> list[BeatLevel]:
    """Every level of some pulses within the tempi that are heard, the same beats once.

    Parameters
    ----------
    pulses_s : sequence of ndarray, shape (n_steps,)
        Times of each pulse, seconds from the first hop.
    given_bpm : float or None
        Tempo that the musician gives: a pulse is the beat, however slow or fast.
    """
    usual_bar_s = USUAL_BAR_S if given_bpm is None else _USUAL_BEATS * 60.0 / given_bpm
    levels: list[BeatLevel] = []
    for pulse_s in pulses_s:
        step_s = float(np.median(np.diff(pulse_s)))
        for beat_steps, first_step in LEVELS:
            bpm = 60.0 / (step_s * beat_steps)
            is_fit = SLOWEST_BPM <= bpm <= FASTEST_BPM if given_bpm is None else beat_steps == 1.0
            n_beats = int((len(pulse_s) - 1 - first_step) / beat_steps) + 1
            if not is_fit or n_beats < _LEAST_BEATS:
                continue
            beat_s = step_s * beat_steps
            places = first_step + beat_steps * np.arange(n_beats)
            beats_s = np.interp(places, np.arange(len(pulse_s)), pulse_s)
            near = [lv for lv in levels if abs(lv.beat_s - beat_s) < _SAME_RATIO * beat_s]
            if not any(_is_same(beats_s, level.beats_s) for level in near):
                steps = (beat_steps, first_step)
                levels.append(_level(evidence, pulse_s, beats_s, steps, metres, usual_bar_s))
    return levels


def _is_same(one_s: Floats, other_s: Floats) -> bool:
    """Whether two rows of beats are one, but for a beat at either end."""
    for skipped in (0, 1, -1):
        head, tail = one_s[max(skipped, 0) :], other_s[max(-skipped, 0) :]
        if abs(len(head) - len(tail)) <= 1:
            n_beats = min(len(head), len(tail))
            if np.abs(head[:n_beats] - tail[:n_beats]).max() < _SAME_S:
                return True
    return False


def _level(
    evidence: Evidence,
    pulse_s: Floats,
    beats_s: Floats,
    steps: tuple[float, float],
    metres: tuple[int, ...],
    usual_bar_s: float,
) -> BeatLevel:
    beat_steps, first_step = steps
    grid = _sampled(evidence.curves, pulse_s, beat_steps, first_step, len(beats_s))
    ends = [
        None if t is None else (_step_at(pulse_s, t) - first_step) / beat_steps
        for t in (evidence.first_s, evidence.last_s)
    ]
    again = _likeness(grid)
    beat_s = float(np.median(np.diff(beats_s)))
    heard = HeardByNet(evidence.opinion, beats_s)
    held = heard.for_beats(beat_s)
    return BeatLevel(
        beat_s=beat_s,
        beats_s=beats_s,
        for_beats=_for_beats(grid, again, beat_s, evidence),
        for_bars=_for_bars(grid, again, metres, ends),
        by_net={metre: heard.for_ways(held, metre, usual_bar_s=usual_bar_s) for metre in metres},
    )


def _sampled(
    curves: Floats, pulse_s: Floats, beat_steps: float, first_step: float, n_beats: int
) -> Floats:
    """Curves on twelve parts of each beat, shape (n_beats, 12, n_curves)."""
    places = first_step + beat_steps * np.arange(n_beats * _PARTS) / _PARTS
    steps = np.arange(len(pulse_s))
    times = np.interp(places, steps, pulse_s)
    beyond = places > steps[-1]
    times[beyond] += (places[beyond] - steps[-1]) * (pulse_s[-1] - pulse_s[-2])
    at = np.clip(np.round(times / HOP_S).astype(int), 0, len(curves) - 1)
    grid: Floats = curves[at].reshape(n_beats, _PARTS, -1)
    return grid


def _step_at(pulse_s: Floats, time_s: float) -> float:
    """Step of the pulse at a time, also before it and after it."""
    inside = min(max(time_s, float(pulse_s[0])), float(pulse_s[-1]))
    step_s = float(np.median(np.diff(pulse_s)))
    return float(np.interp(inside, pulse_s, np.arange(len(pulse_s)))) + (time_s - inside) / step_s


def _for_beats(grid: Floats, again: Floats, beat_s: float, evidence: Evidence) -> Floats:
    bpm = 60.0 / beat_s
    knots = np.log(_TEMPO_KNOTS_BPM)
    hats = [np.interp(np.log(bpm), knots, row) for row in np.eye(len(knots))]
    parts = grid[:, list(_PLACES)]
    mean = np.sqrt(parts.mean(axis=0))
    heard = (parts[:, :, CURVES.index("long")] > 0).mean(axis=0)
    chords = _likeness(grid[:, :, [CURVES.index(curve) for curve in _CHORDS]])
    groups = {
        "tempo": hats,
        "strength": mean.ravel(),
        "onsets": heard,
        "again": again[list(_LAGS)],
        "chords again": chords[list(_LAGS)],
        "octaves": [np.log2(bpm / 100.0)],
        "rate": [np.log2(evidence.onset_rate_hz * beat_s)],
        "peaks": evidence.peakiness,
    }
    return np.concatenate([groups[group] for group in _beat_groups()])


def _for_bars(
    grid: Floats, again: Floats, metres: tuple[int, ...], ends: list[float | None]
) -> dict[int, Floats]:
    """Evidence for each metre, shape (metre, n), one row a place of the downbeat."""
    halves = grid[:, [0, _PARTS // 2]].reshape(len(grid), -1)
    found = {}
    for metre in metres:
        lags = (metre, 2 * metre, metre // 2)
        own = [1.0] + [again[lag] if lag < len(again) else 0.0 for lag in lags]
        n_bars = len(grid) // metre
        bar = np.zeros((metre, halves.shape[1]))
        if n_bars:
            bar = halves[: n_bars * metre].reshape(n_bars, metre, -1).mean(axis=0)
            bar -= bar.mean(axis=0)
        turned = bar[(np.arange(metre)[:, np.newaxis] + np.arange(metre)) % metre]
        first, last = (_nearness(end, metre) for end in ends)
        groups = {
            "own": np.broadcast_to(own, (metre, len(own))),
            "first": first[:, :1],
            "last": last[:, :1],
            "down": bar,
            "places": turned,
            "ends": np.stack([first[:, 1:], last[:, 1:]], axis=2),
        }
        rows = (groups[group].reshape(metre, -1) for group in _bar_groups(metre))
        found[metre] = np.concatenate(list(rows), axis=1)
    return found


def _nearness(beat: float | None, metre: int) -> Floats:
    """How near a beat number is to each beat of the bar, 1 on it and 0 half a beat away.

    Shape (metre, metre), one row a place of the downbeat.
    """
    if beat is None:
        return np.zeros((metre, metre))
    places = np.arange(metre)[:, np.newaxis] + np.arange(metre)
    off = (beat - places + metre / 2) % metre - metre / 2
    near: Floats = np.maximum(1.0 - 2 * np.abs(off), 0.0)
    return near


def _likeness(grid: Floats) -> Floats:
    """How much more alike beats are that lie 1, 2, ... apart than any two; 0 for lag 0."""
    vectors = grid.reshape(len(grid), -1)
    vectors = vectors - vectors.mean(axis=0)
    spectra = np.fft.rfft(vectors, 2 * len(grid), axis=0)
    products = np.fft.irfft((np.abs(spectra) ** 2).sum(axis=1))  # of beats 0, 1, 2, ... apart
    power = float(products[0]) / len(grid) + 1e-12
    n_lags = min(_LONGEST_LAG + 1, len(grid) - 1)
    likeness = products[1:n_lags] / (len(grid) - np.arange(1, n_lags)) / power
    more = np.zeros(_LONGEST_LAG + 1)
    more[1:n_lags] = likeness - likeness.mean()
    return more
