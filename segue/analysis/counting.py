"""The likeliest way to count what is heard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.beats import LOOSE, TIGHT, pulse_periods, pulse_share, pulse_times
from segue.analysis.metre import METRES, BeatLevel, levels_of
from segue.analysis.metre_net import beat_strength
from segue.analysis.metre_odds import Place, log_odds

if TYPE_CHECKING:
    from segue.analysis.heard_part import Evidence
    from segue.arrays import Floats

_BY_NET: Final = (4, 2)
"""How many pulses of the net are followed tightly and loosely. Set by judgement, for speed."""
_BY_ONSETS: Final = (3, 1)
"""The same of pulses of onset strength."""
_LEAST_STEPS: Final = 5  # a pulse with fewer steps is not counted; by judgement
_SAME_TEMPO_RATIO: Final = 0.03  # natural logarithm: tempi nearer than this are one; by judgement
_SAME_PLACE_BEATS: Final = 0.15  # beats: places nearer than this are one; by judgement
# log odds against passing a downbeat that is given: rules it out; by judgement
_WRONG_PLACE: Final = 50.0
_SHARPNESS: Final = 0.85
"""Takes back the overconfidence of the odds; chosen on edges that were not learned from."""
_UNEVEN: Final = 0.03
"""Odds of a level that attacks do not lie on, against one that they do. From 0.03 to 0.2 it is all
the same with drums; without, up to 0.06 is right in one song of 111 more, none of them reported."""
_RARE: Final = 5  # beats of a bar in the metre that is rare; by judgement
_RARE_METRE: Final = 1.5
"""Log odds against five beats a bar, of which the examples have none: a guess. Of 1413 made songs
without fives not one is counted in five with 0, and with 3 bars of five were not heard in a mix."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counting:
    """A way to count, and how likely it is.

    Parameters
    ----------
    beats_s : ndarray, shape (n_beats,)
        The beats, roughly, in seconds from the first hop.
    metre, phase : int
        Beats a bar, and the number of the first downbeat.
    beat_share, bar_share : float
        Likelihood of the beats, and of these bars, 0..1.
    tempi_bpm : tuple of float
        Tempi of all countings, likeliest first.
    """

    beats_s: Floats
    metre: int
    phase: int
    beat_share: float
    bar_share: float
    tempi_bpm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the musician says, times in seconds from the first hop."""

    tempo_bpm: float | None = None
    metre: int | None = None
    downbeat_s: float | None = None


def pulses_of(evidence: Evidence) -> list[Floats]:
    """The regular pulses in the net's beats and in onset strength, clearest first."""
    held = beat_strength(evidence.opinion, len(evidence.bands))
    return [*_pulses(held, _BY_NET), *_pulses(evidence.bands.mean(axis=1), _BY_ONSETS)]


def _pulses(strength: Floats, numbers: tuple[int, int]) -> list[Floats]:
    n_tight, n_loose = numbers
    periods_s = pulse_periods(strength, n_periods=max(numbers))
    kinds = ((TIGHT, periods_s[:n_tight]), (LOOSE, periods_s[:n_loose]))
    pulses = (
        pulse_times(strength, period_s=period_s, tightness=tightness)
        for tightness, kept_s in kinds
        for period_s in kept_s
    )
    return [pulse_s for pulse_s in pulses if len(pulse_s) >= _LEAST_STEPS]


def likeliest_counting(evidence: Evidence, said: Known) -> Counting | None:
    """The likeliest way to count; None where there is no pulse to count.

    Parameters
    ----------
    said : Known
        What the musician says, which rules other ways out.
    """
    levels = _levels(evidence, said)
    if not levels:
        return None
    places, all_odds = log_odds(levels, bareness=evidence.bareness)
    all_odds = all_odds + evenness_odds(evidence, levels)[[number for number, _, _ in places]]
    passes = np.array([_misses(level, said.downbeat_s) for level in levels])
    all_odds = all_odds - _WRONG_PLACE * passes[[number for number, _, _ in places]]
    if said.metre is None:
        all_odds = all_odds - _RARE_METRE * np.array([metre == _RARE for _, metre, _ in places])
    shares = np.exp(_SHARPNESS * (all_odds - all_odds.max()))
    shares /= shares.sum()
    return _counting(levels, places, shares)


def evenness_odds(evidence: Evidence, levels: list[BeatLevel]) -> Floats:
    """Log odds of each level for how evenly attacks lie on it: five are not counted as four."""
    strength = evidence.bands.mean(axis=1)
    shares = np.array([pulse_share(strength, level.beats_s) for level in levels])
    return np.asarray(np.log(_UNEVEN + (1.0 - _UNEVEN) * shares))


def _levels(evidence: Evidence, said: Known) -> list[BeatLevel]:
    metres = METRES if said.metre is None else (said.metre,)
    if said.tempo_bpm is None:
        pulses = pulses_of(evidence)
    else:
        strength = evidence.bands.mean(axis=1)
        pulse_s = pulse_times(strength, period_s=60.0 / said.tempo_bpm)
        pulses = [pulse_s] if len(pulse_s) >= _LEAST_STEPS else []
    return levels_of(evidence, pulses, metres=metres, given_bpm=said.tempo_bpm)


def _misses(level: BeatLevel, downbeat_s: float | None) -> bool:
    """Whether the beats of a level pass a downbeat that is given."""
    if downbeat_s is None:
        return False
    return abs(_places_between(level.beats_s, downbeat_s)) > _SAME_PLACE_BEATS


def _places_between(beats_s: Floats, time_s: float) -> float:
    """How far a time is from the nearest beat, -0.5..0.5 beats, beyond the ends too."""
    nearest_s = float(beats_s[np.argmin(np.abs(beats_s - time_s))])
    off_beats = (time_s - nearest_s) / float(np.median(np.diff(beats_s)))
    return off_beats - round(off_beats)


def _counting(levels: list[BeatLevel], places: list[Place], shares: Floats) -> Counting:
    """The likeliest place, with the likelihood of all that say the same."""
    number, metre, phase = places[int(np.argmax(shares))]
    best = levels[number]
    twins = {n for n, level in enumerate(levels) if _is_same_pulse(level, best)}
    beat_share = sum(s for s, p in zip(shares, places, strict=True) if p[0] in twins)
    down_s = best.beats_s[phase::metre]
    bar_share = sum(
        share
        for share, (n, m, p) in zip(shares, places, strict=True)
        if n in twins and m == metre and _is_same_bar(levels[n].beats_s[p::m], down_s, metre)
    )
    of_levels = np.bincount([p[0] for p in places], weights=shares)
    order = np.argsort(-of_levels, kind="stable")
    return Counting(
        beats_s=best.beats_s,
        metre=metre,
        phase=phase,
        beat_share=min(float(beat_share), 1.0),
        bar_share=min(float(bar_share), 1.0),
        tempi_bpm=tuple(60.0 / levels[n].beat_s for n in order),
    )


def _is_same_pulse(one: BeatLevel, other: BeatLevel) -> bool:
    if abs(np.log(one.beat_s / other.beat_s)) > _SAME_TEMPO_RATIO:
        return False
    middle_s = float(one.beats_s[len(one.beats_s) // 2])
    return abs(_places_between(other.beats_s, middle_s)) < _SAME_PLACE_BEATS


def _is_same_bar(one_s: Floats, other_s: Floats, metre: int) -> bool:
    if len(one_s) == 0 or len(other_s) < 2:  # noqa: PLR2004 - a bar has two ends
        return False
    middle_s = float(one_s[len(one_s) // 2])
    return abs(_places_between(other_s, middle_s)) * metre < 2 * _SAME_PLACE_BEATS
