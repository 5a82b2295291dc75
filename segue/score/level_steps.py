"""Level measures: steps, match of the two songs, dead air.

How long the music goes without a pulse.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.audio.loudness import MOMENTARY_S
from segue.score.level_curves import HOP_S
from segue.score.scorecard import CurveSample, Measure, falling

if TYPE_CHECKING:
    from segue.score.listening_to import Listened

FINE_BEATS: Final = 4.0  # a bar of four without an onset is a breath; by judgement
LOST_BEATS: Final = 20.0  # so many without one lose the room; by judgement


def pulse(hearing: Listened) -> Measure:
    """The longest stretch of beats without an onset, in beats of the plan."""
    heard = hearing.pulse
    marks = np.concatenate([[-1.0], heard.beats[heard.is_heard], [float(len(heard.beats))]])
    gaps = np.diff(marks) - 1.0
    worst = int(np.argmax(gaps))
    beats, start = float(gaps[worst]), float(marks[worst]) + 1.0
    plan = hearing.plan
    seconds = plan.seconds_at(start + beats) - plan.seconds_at(start)
    sentence = (
        f"The longest stretch without a pulse is {beats:.0f} beats ({seconds:.1f} s)."
        if beats
        else "The pulse never stops."
    )
    return Measure(
        name="pulse",
        label="pulse",
        value=beats,
        unit="beats",
        score=falling(beats, good=FINE_BEATS, bad=LOST_BEATS),
        threshold=f"up to a bar ({FINE_BEATS:g} beats) is a breath; {LOST_BEATS:g} beats lose it",
        source="common practice, no source",
        sentence=sentence,
        worst_beat=start + beats / 2.0,
    )


Floats = npt.NDArray[np.float64]

DEAD_LUFS: Final = -45.0  # momentary loudness below which a hall hears nothing; by judgement
DEAD_BELOW_TARGET_LU: Final = 30.0  # or, if higher, so far below the evening's level; by judgement
_SIDE_S: Final = 1.2  # loudness is compared over this time before and after; by judgement
_NEAR_BEATS: Final = 8.0  # only from so many beats before the exit to as many after the entry
_BRIGHT_SIDE_S: Final = 2.4  # brightness likewise; it moves more by itself; by judgement
_LOUD_QUANTILE: Final = 0.75  # a stretch is as loud as the middle of its louder half
_SOURCE: Final = "common practice, no source"


def loudness_curve(hearing: Listened) -> tuple[CurveSample, ...]:
    """Momentary loudness, ten samples a second."""
    levels = hearing.levels
    return tuple(
        CurveSample(time_s=float(t), value=float(v))
        for t, v in zip(levels.times_s, levels.loudness_lufs, strict=True)
    )


def level_step(hearing: Listened) -> Measure | None:
    """The largest step of loudness, a good second before against after; None for silence."""
    levels = hearing.levels
    if levels.loudness_lufs.max(initial=-100.0) <= DEAD_LUFS - DEAD_BELOW_TARGET_LU:
        return None
    sounding = _without_silence(levels.loudness_lufs, dead_lufs(hearing))
    times_s, before, after = _around(10.0 ** (sounding / 10.0), _SIDE_S, hearing)
    if not len(times_s):
        return None
    steps = 10.0 * np.log10(after / before)
    worst = int(np.argmax(np.abs(steps)))
    step = float(steps[worst])
    way = "up" if step > 0 else "down"
    return Measure(
        name="level_step",
        label="level step",
        value=abs(step),
        unit="LU",
        score=falling(abs(step), good=4.0, bad=20.0),
        threshold="up to 4 LU within a second is music; 20 LU is a jolt",
        source=_SOURCE,
        sentence=f"The largest step of loudness is {abs(step):.1f} LU {way}.",
        worst_beat=hearing.plan.beat_at(float(times_s[worst])),
    )


def level_match(hearing: Listened) -> Measure | None:
    """Loudness of the new song against the old, both where they are loud; None without either.

    A fade before the exit or a soft first bar is how the songs are, not a fault of the match.
    """
    plan = hearing.plan
    before = _loud_part(hearing, 0.0, hearing.exit_s)
    after = _loud_part(hearing, hearing.entry_s + MOMENTARY_S, plan.duration_s)
    if max(before, after) <= DEAD_LUFS - DEAD_BELOW_TARGET_LU:
        return None
    step = after - before
    louder = "louder" if step > 0 else "softer"
    return Measure(
        name="level_match",
        label="level match",
        value=step,
        unit="LU",
        score=falling(abs(step), good=1.5, bad=9.0 if step > 0 else 12.0),
        threshold="within 1.5 LU; 2 dB is heard as louder; softer is forgiven a little more",
        source="practitioner reports (2 dB heard as louder and better)",
        sentence=f"The new song is {abs(step):.1f} LU {louder} than the old.",
        worst_beat=plan.entry_beat,
    )


def dead_air(hearing: Listened) -> Measure:
    """The longest silence."""
    levels, plan = hearing.levels, hearing.plan
    limit_lufs = dead_lufs(hearing)
    is_dead = levels.loudness_lufs < limit_lufs
    is_dead &= levels.times_s >= plan.seconds_at(0.0) + MOMENTARY_S / 2
    is_dead &= levels.times_s <= plan.duration_s - MOMENTARY_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_dead.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    lengths = ends - starts
    worst = int(np.argmax(lengths)) if len(lengths) else 0
    # a block is quiet only when all of it is, so a silence is longer than its quiet blocks
    seconds = float(lengths[worst]) * HOP_S + MOMENTARY_S if len(lengths) else 0.0
    beat = plan.beat_at(float(levels.times_s[starts[worst]])) if len(lengths) else None
    return Measure(
        name="dead_air",
        label="dead air",
        value=seconds,
        unit="s",
        score=falling(seconds, good=0.6, bad=2.0),
        threshold=f"half a second under {limit_lufs:.0f} LUFS is a breath, 2 s are a fault",
        source=_SOURCE,
        sentence=(
            f"The longest silence is {seconds:.1f} s."
            if seconds
            else f"It is never silent; the quietest moment has {_quietest_lufs(hearing):.0f} LUFS."
        ),
        worst_beat=beat,
    )


def brightness(hearing: Listened) -> Measure | None:
    """The largest jump of the spectral centroid; None where nothing sounds."""
    levels = hearing.levels
    is_heard = ~np.isnan(levels.centroid_octaves)
    if not is_heard.any():
        return None
    hops = np.arange(len(levels.times_s))
    filled = np.interp(hops, hops[is_heard], levels.centroid_octaves[is_heard])
    times_s, before, after = _around(filled, _BRIGHT_SIDE_S, hearing)
    if not len(times_s):
        return None
    jumps = after - before
    worst = int(np.argmax(np.abs(jumps)))
    jump = float(jumps[worst])
    side = "brighter" if jump > 0 else "darker"
    return Measure(
        name="brightness",
        label="brightness jump",
        value=abs(jump),
        unit="octaves",
        score=falling(abs(jump), good=1.5, bad=3.5),
        threshold="up to an octave and a half of the spectral centroid",
        source="set by judgement",
        sentence=f"The sound becomes {side} by at most {abs(jump):.1f} octaves in a few seconds.",
        worst_beat=hearing.plan.beat_at(float(times_s[worst])),
    )


def dead_lufs(hearing: Listened) -> float:
    """Loudness below which a moment counts as silent."""
    return max(DEAD_LUFS, hearing.plan.target_lufs - DEAD_BELOW_TARGET_LU)


def _loud_part(hearing: Listened, start_s: float, end_s: float) -> float:
    """Loudness of the louder half of a stretch; very low for none."""
    levels = hearing.levels
    inside = levels.loudness_lufs[(levels.times_s >= start_s) & (levels.times_s < end_s)]
    return float(np.quantile(inside, _LOUD_QUANTILE)) if len(inside) else 2 * DEAD_LUFS


def _without_silence(loudness_lufs: Floats, limit_lufs: float) -> Floats:
    """The curve led straight over silences and their flanks, which dead air tells of."""
    reach = round(MOMENTARY_S / HOP_S)
    dead = np.convolve(loudness_lufs < limit_lufs, np.ones(2 * reach + 1), mode="same") > 0
    if dead.all() or not dead.any():
        return loudness_lufs
    hops = np.arange(len(dead))
    return np.interp(hops, hops[~dead], loudness_lufs[~dead])


def _quietest_lufs(hearing: Listened) -> float:
    """Least momentary loudness from a bar before the exit to a bar after the entry."""
    plan, levels = hearing.plan, hearing.levels
    inside = levels.times_s >= plan.seconds_at(max(plan.exit_beat - hearing.metre, 0.0))
    inside &= levels.times_s <= plan.seconds_at(plan.entry_beat + hearing.metre)
    return float(levels.loudness_lufs[inside].min(initial=0.0))


def _around(curve: Floats, side_s: float, hearing: Listened) -> tuple[Floats, Floats, Floats]:
    """Mean of a curve just before and just after each time, near the join: times, before, after."""
    n_side, n_between = round(side_s / HOP_S), round(MOMENTARY_S / HOP_S)
    apart = n_side + n_between
    if len(curve) <= n_side + apart:
        return np.empty(0), np.empty(0), np.empty(0)
    means = np.convolve(curve, np.full(n_side, 1.0 / n_side), mode="valid")
    before, after = means[:-apart], means[apart:]
    times_s = hearing.levels.times_s[: len(before)] + (n_side + n_between / 2) * HOP_S
    plan = hearing.plan
    near = times_s >= plan.seconds_at(plan.exit_beat - _NEAR_BEATS)
    near &= times_s <= plan.seconds_at(plan.entry_beat + _NEAR_BEATS)
    return times_s[near], before[near], after[near]
