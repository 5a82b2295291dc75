"""The pulse as heard: which beats of the ruler sound, and how early or late.

A beat is heard where the onset strength near it stands out from the strength
between beats (at thirds of a beat, where even and dotted rhythms have nothing).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of
from segue.analysis.onsets import HOP_S, RATE_HZ, onset_curves
from segue.audio.adapters import mono_at_rate

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Floats32
    from segue.plan.plan import Plan
    from segue.render.candidate import Candidate


_REACH_BEATS: Final = 0.22  # an attack this near a beat may be its; by judgement
_REACH_S: Final = 0.13  # but never further than this; by judgement
_STANDS_OUT: Final = 1.8
"""Onset strength at a beat against the strength between beats nearby. Set by judgement."""
_LEAST_STRENGTH: Final = 0.8  # of an onset, about 1 on average; by judgement
_FEWEST_BEATS: Final = 3  # fewer tell no lateness
_LINE_BEATS: Final = 5  # fewer tell no drift: one that strays makes a line of its own
_MAD_TO_SIGMA: Final = 1.4826  # of a normal scatter
_MEDIAN_ERROR: Final = 1.2533  # standard error of a median against that of a mean, normal scatter
_NEARBY_BEATS: Final = 6  # beats on each side that a peak is compared with; by judgement
_FIT_BEATS: Final = 4
"""Beats to either side over which a drift from the ruler is fitted, as listeners average looks."""
_CLEARLY: Final = 1.15  # a pulse that drifts must explain so much more than the ruler; by judgement
_CLEARLY_NO_ROW: Final = 1.5
"""And so much more where a row is heard. Rows of 100 segues of real songs in tempo reach 1.3, drums
that are 5 or 10 % off it 1.8 and more."""
_DRIFT_GAIN: Final = 0.4  # share of what is found off that the next beat is led by; by judgement
_MOST_DRIFT: Final = 0.2  # of a beat, to either side; by judgement
_NO_DRIFT: Final = 0.15
"""A pulse off by more is a figure across the beat, three on four or four on five: nobody drifts
by that much. Set by judgement."""
_ROW_BEATS: Final = 16  # from bar one, by which a row that comes late as a whole is told
_MOST_STRENGTH: Final = 4.0  # no single beat outweighs the row; by judgement
_ON_RULER_S: Final = 0.03  # a row so near to the ruler is on it: its beats are told one by one
_ROW_LEAD: Final = 1.05
"""A row beside the ruler must be so much stronger than one on it. Of 100 segues of real songs with
a beat all that were entered 90 ms late are by 1.09 and more, and none that was on time."""
_NEARNESS_S: Final = 0.1
"""Spread of the preference for onsets near the ruler."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulse:
    """Beats of the music.

    Parameters
    ----------
    beats : ndarray, shape (n_beats,)
        Whole beats of the ruler.
    times_s : ndarray, shape (n_beats,)
        Where the ruler has them.
    late_s : ndarray, shape (n_beats,)
        How much later the onset is; meaningless where not heard.
    is_heard : ndarray, shape (n_beats,)
    low_accent : ndarray, shape (n_beats,)
        Onset strength at each beat in the lowest band.
    row_late_s : float or None
        How late the new song's first four bars are, all their beats together; None for no row.
    """

    beats: Floats
    times_s: Floats
    late_s: Floats
    is_heard: Flags
    low_accent: Floats
    row_late_s: float | None = None

    def late_at(
        self, at_s: float, start_beat: float, end_beat: float
    ) -> tuple[float, float] | None:
        """Lateness at a time, by a line through the beats heard in a range, or their middle.

        None for too few.

        Returns
        -------
        (float, float)
            Seconds, and the standard error of them: that of a median, with the scatter told from
            the median distance to it (F. R. Hampel, JASA 69(346), 1974).
        """
        inside = (self.beats >= start_beat) & (self.beats < end_beat) & self.is_heard
        if inside.sum() < _FEWEST_BEATS:
            return None
        since_s, late_s = self.times_s[inside] - at_s, self.late_s[inside]
        drift = slope(since_s, late_s) if len(late_s) >= _LINE_BEATS else 0.0
        level_s = late_s - drift * since_s
        late = float(np.median(level_s))
        scatter_s = _MAD_TO_SIGMA * float(np.median(np.abs(level_s - late)))
        return late, _MEDIAN_ERROR * scatter_s / float(np.sqrt(inside.sum()))


def heard_pulse(candidate: Candidate) -> Pulse:
    """The pulse of the music of a candidate, along its ruler."""
    plan = candidate.plan
    curves = onset_curves(_onset_sound(candidate), starts_cut=True)
    strength = curves.total
    beats = np.arange(np.ceil(max(plan.end_beat, 1.0)), dtype=np.float64)
    times_s = np.array([plan.seconds_at(float(b)) for b in beats])
    beat_s = np.diff(np.append(times_s, plan.seconds_at(len(beats))))
    entry = min(max(round(plan.entry_beat), 0), len(beats))
    parts = [slice(0, entry), slice(entry, len(beats))]
    row_s = _row_late_s(strength, times_s[parts[1]], beat_s[parts[1]])
    tracked = [
        _tracked(strength, times_s[parts[0]], beat_s[parts[0]]),
        _tracked(strength, times_s[parts[1]], beat_s[parts[1]], row_s),
    ]
    late_s, peaks = (np.concatenate(both) for both in zip(*tracked, strict=True))
    heard_s = times_s + late_s
    between = np.stack([_strongest(strength, heard_s + s * beat_s, 0.05) for s in (1 / 3, 2 / 3)])
    # what is heard of the new song is not told by what lies before bar one
    nearby = np.concatenate([_nearby_median(between.mean(axis=0)[part]) for part in parts])
    is_heard = (peaks > _STANDS_OUT * nearby) & (peaks > _LEAST_STRENGTH)
    low = _strongest(curves.bands[:, 0], heard_s, 0.03)
    return Pulse(
        beats=beats,
        times_s=times_s,
        late_s=late_s,
        is_heard=is_heard,
        low_accent=low,
        row_late_s=row_s,
    )


def _row_late_s(strength: Floats, times_s: Floats, beat_s: Floats) -> float | None:
    """How late the new song comes in as a whole; None where its first beats make no row.

    Onsets between beats may lie nearer to the ruler than beats that come late: where it comes in
    is told by what all its beats have in common.
    """
    if not len(beat_s):
        return None
    reach = round(min(_REACH_BEATS * float(np.median(beat_s)), _REACH_S) / HOP_S)
    lags = np.arange(-reach, reach + 1)
    hops = np.round(times_s[:_ROW_BEATS] / HOP_S).astype(int)[:, np.newaxis] + lags
    hops = hops[((hops >= 0) & (hops < len(strength))).all(axis=1)]
    if not len(hops):
        return None
    row = np.minimum(strength[hops], _MOST_STRENGTH).mean(axis=0)
    if row.max() < max(_STANDS_OUT * float(np.median(row)), _LEAST_STRENGTH):
        return None
    on_ruler = np.where(np.abs(lags) * HOP_S <= _ON_RULER_S, row, 0.0)
    is_beside = row.max() > _ROW_LEAD * on_ruler.max()
    return HOP_S * float(lags[(row if is_beside else on_ruler).argmax()])


def _tracked(
    strength: Floats, times_s: Floats, beat_s: Floats, row_s: float | None = None
) -> tuple[Floats, Floats]:
    """Lateness and strength of the onset at each beat of one side of the entry.

    Beats that make a row are looked for there. They are followed wherever they drift only if that
    finds clearly stronger onsets than staying with the ruler.
    """
    by_s = row_s if row_s is not None and abs(row_s) > _ON_RULER_S else 0.0
    ruled = _followed(strength, times_s + by_s, beat_s, drift_gain=0.0)
    drifting = _followed(strength, times_s, beat_s, drift_gain=_DRIFT_GAIN)
    least = _CLEARLY if row_s is None else _CLEARLY_NO_ROW
    off = abs(slope(times_s, drifting[0])) if len(times_s) >= _LINE_BEATS else 0.0
    if off < _NO_DRIFT and drifting[1].sum() > least * ruled[1].sum():
        return drifting
    return ruled[0] + by_s, ruled[1]


def _followed(
    strength: Floats, times_s: Floats, beat_s: Floats, *, drift_gain: float
) -> tuple[Floats, Floats]:
    """Onsets near where the beats before lead to expect them; the ruler alone at a gain of 0."""
    late_s, peaks = np.zeros(len(times_s)), np.zeros(len(times_s))
    expected_s, drift = 0.0, 0.0
    for k, (time_s, length_s) in enumerate(zip(times_s, beat_s, strict=True)):
        reach_s = min(_REACH_BEATS * length_s, _REACH_S)
        off_s, peaks[k] = _peak_near(strength, time_s + expected_s, reach_s)
        late_s[k] = expected_s + off_s
        if drift_gain and peaks[k] > _LEAST_STRENGTH:
            drift += drift_gain * off_s / length_s
            drift = min(max(drift, -_MOST_DRIFT), _MOST_DRIFT)
            expected_s = float(late_s[k]) + drift * length_s
        else:
            expected_s, drift = 0.5 * expected_s, 0.0
    return late_s, peaks


def beat_lengths_s(pulse: Pulse, plan: Plan) -> Floats:
    """Length of each beat as heard, shape (n_beats,).

    The ruler's length, times the drift of the onsets heard nearby on the same side of the
    entry; where fewer than four beats are heard nearby, the ruler alone.
    """
    ends_s = np.append(pulse.times_s[1:], plan.seconds_at(float(len(pulse.beats))))
    ruler_s = ends_s - pulse.times_s
    is_after = pulse.beats >= plan.entry_beat
    drift = np.zeros(len(ruler_s))
    for k in range(len(ruler_s)):
        near = slice(max(0, k - _FIT_BEATS), k + _FIT_BEATS + 1)
        usable = pulse.is_heard[near] & (is_after[near] == is_after[k])
        if usable.sum() >= _FIT_BEATS:
            drift[k] = slope(pulse.times_s[near][usable], pulse.late_s[near][usable])
    return np.asarray(ruler_s * (1.0 + drift))


def slope(times_s: Floats, late_s: Floats) -> float:
    """Theil-Sen slope: the median over pairs, so one stray onset changes nothing."""
    i, j = np.triu_indices(len(times_s), k=1)
    return float(np.median((late_s[j] - late_s[i]) / (times_s[j] - times_s[i])))


def _onset_sound(candidate: Candidate) -> Floats32:
    mono = mono_of(candidate.music.samples)
    return mono_at_rate(mono, from_hz=candidate.music.rate_hz, to_hz=RATE_HZ, quality="MQ")


def _peak_near(strength: Floats, time_s: float, reach_s: float) -> tuple[float, float]:
    """How late the onset near a time is, and how strong."""
    first = max(int(np.ceil((time_s - reach_s) / HOP_S)), 1)
    last = min(int(np.floor((time_s + reach_s) / HOP_S)), len(strength) - 2)
    if last <= first:
        return 0.0, 0.0
    hops = np.arange(first, last + 1)
    distance_s = hops * HOP_S - time_s
    preferred = strength[hops] * np.exp(-0.5 * (distance_s / _NEARNESS_S) ** 2)
    best = int(hops[np.argmax(preferred)])
    left, here, right = strength[best - 1 : best + 2]
    bend = left - 2.0 * here + right
    shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0
    return (best + shift) * HOP_S - time_s, float(here)


def _strongest(strength: Floats, times_s: Floats, reach_s: float) -> Floats:
    reach = max(1, round(reach_s / HOP_S))
    hops = np.round(times_s / HOP_S).astype(int)[:, np.newaxis] + np.arange(-reach, reach + 1)
    inside = (hops >= 0) & (hops < len(strength))
    found = np.where(inside, strength[np.clip(hops, 0, len(strength) - 1)], 0.0)
    return np.asarray(found.max(axis=1))


def _nearby_median(between: Floats) -> Floats:
    if not len(between):
        return between
    padded = np.pad(between, _NEARBY_BEATS, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _NEARBY_BEATS + 1)
    return np.asarray(np.median(windows, axis=1))
