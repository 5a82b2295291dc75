"""Steps of level and colour at the join: cliffs, how bar one lands, song against song.

Songs themselves move by about 4 LU within their last and first 45 s (measured on recordings: 10 %
of them lies 4.3 LU below the whole, 5 % 2.7 LU above).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import MOMENTARY_S
from segue.score.bridge import AROUND_S, LEVEL_HOP_S
from segue.score.scorecard import CurveSample, Measure, falling, measured

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.plan.plan import Section
    from segue.score.listening_to import Listened
    from segue.score.weights import Purpose


DEAD_BELOW_TARGET_LU: Final = 29.0
"""So far below the level of the songs a hall hears nothing. Set by judgement; how loud a file is by
itself says nothing, since the rig is turned up until the songs fill the room."""
SILENT_LUFS: Final = -75.0  # nothing sounds at all; by judgement
_SIDE_S: Final = 1.2  # loudness is compared over this time before and after; by judgement
_BRIGHT_SIDE_S: Final = 2.4  # brightness moves much by itself; by judgement
_NEAR_BEATS: Final = 2.0
"""Steps count from so many beats before the exit to as many after the entry: further off the
songs do as they like. Set by judgement."""
_BRIGHT_NEAR_BEATS: Final = 8.0  # the same for brightness
_LOUD_QUANTILE: Final = 0.75  # a stretch is as loud as the middle of its louder half
_EVEN_LU: Final = 0.5  # less is told as nothing
_FINE_OCTAVES: Final = 1.5  # a jump of brightness up to here is music; by judgement
_FLOOR_LUFS: Final = -100.0  # stands for nothing

# fmt: off
FALL_LU: Final[dict[Purpose | None, float]] = {
    None: 4.0, "talk": 20.0, "lift": 4.0, "calm": 5.0, "dance": 3.0}
"""So far the loudness may fall within a second, by purpose: into a talk bed it should."""
RISE_LU: Final[dict[Purpose | None, float]] = {
    None: 6.0, "talk": 20.0, "lift": 10.0, "calm": 4.0, "dance": 5.0}
"""So far it may rise within a second: a lift should."""
BAR_ONE_LU: Final[dict[Purpose | None, tuple[float, float]]] = {
    None: (-2.0, 6.0), "talk": (-2.0, 30.0), "lift": (-1.0, 9.0), "calm": (-4.0, 4.0),
    "dance": (-2.0, 5.0)}
"""The second after bar one against the one before: from, to."""
# fmt: on


def loudness_curve(hearing: Listened) -> tuple[CurveSample, ...]:
    """Momentary loudness, ten samples a second."""
    return tuple(
        CurveSample(time_s=float(t), value=float(v))
        for t, v in zip(hearing.level.times_s, hearing.level.values, strict=True)
    )


def songs_lufs(hearing: Listened) -> tuple[float, float]:
    """Median loudness of the old song's last 8 s and of the new song's first 8 s."""
    exit_s, entry_s = hearing.exit_s, hearing.entry_s
    old = hearing.level.part(exit_s - AROUND_S, exit_s - 0.3)
    new = hearing.level.part(entry_s + 0.3, entry_s + AROUND_S)
    return _median_lufs(old), _median_lufs(new)


def _median_lufs(lufs: Floats) -> float:
    return float(np.median(lufs)) if len(lufs) else _FLOOR_LUFS


def dead_lufs(hearing: Listened) -> float:
    """Loudness below which a moment counts as silent."""
    return hearing.plan.target_lufs - DEAD_BELOW_TARGET_LU


def cliff(hearing: Listened) -> Measure | None:
    """The largest fall or rise within a second that the purpose does not ask for."""
    lufs = hearing.level.values
    if lufs.max(initial=_FLOOR_LUFS) <= SILENT_LUFS:
        return None
    sounding = _without_silence(lufs, dead_lufs(hearing))
    powers = 10.0 ** (sounding / 10.0)
    times_s, before, after = _around(hearing, powers, side_s=_SIDE_S, near_beats=_NEAR_BEATS)
    if not len(times_s):
        return None
    steps = 10.0 * np.log10(after / before)
    fall, rise = FALL_LU[hearing.aim], RISE_LU[hearing.aim]
    over = np.where(steps < 0, -steps - fall, steps - rise)
    worst = int(np.argmax(over))
    step = float(steps[worst])
    fine = fall if step < 0 else rise
    return measured(
        "cliff",
        value=step,
        score=falling(float(over[worst]), good=0.0, bad=12.0),
        threshold=f"up to {fine:g} LU sounds normal; {fine + 12:g} LU is a jolt",
        sentence=(
            f"Within a second it gets {abs(step):.1f} LU {'louder' if step > 0 else 'softer'}; "
            f"up to {fine:g} LU sounds normal."
        ),
        worst_beat=hearing.plan.beat_at(float(times_s[worst])),
    )


_LEVEL_LU: Final = 0.5  # nobody hears less


def bar_one(hearing: Listened) -> Measure | None:
    """How it lands: the second after bar one against the second before; None for silence."""
    level, entry_s = hearing.level, hearing.entry_s
    if level.values.max(initial=_FLOOR_LUFS) <= SILENT_LUFS:
        return None
    before = _power_mean_lufs(level.part(entry_s - 1.0, entry_s - MOMENTARY_S / 2))
    after = _power_mean_lufs(level.part(entry_s + MOMENTARY_S / 2, entry_s + 1.0 + MOMENTARY_S))
    step = after - max(before, dead_lufs(hearing))
    low, high = BAR_ONE_LU[hearing.aim]
    off = max(low - step, step - high, 0.0)
    words = f"Bar one lands {abs(step):.1f} LU {'louder' if step >= 0 else 'softer'}"
    if abs(step) < _LEVEL_LU:
        words = "Bar one lands as loud as what leads into it"
    if step < low:
        words += ": it sags into the new song"
    elif step > high:
        words += ": the bridge is too thin before it"
    return measured(
        "bar_one",
        value=step,
        score=falling(off, good=0.0, bad=10.0),
        threshold=f"{low:+g} to {high:+g} LU from the second before to the second after",
        sentence=f"{words}.",
        worst_beat=hearing.plan.entry_beat,
    )


def level_match(hearing: Listened) -> Measure | None:
    """Loudness of the new song against the old, both where they are loud; None without either.

    A fade before the exit or a soft first bar is how the songs are, not a fault of the match.
    """
    plan = hearing.plan
    before = _loud_part(hearing, "outgoing", 0.0, hearing.exit_s)
    after = _loud_part(hearing, "incoming", hearing.entry_s + MOMENTARY_S, plan.duration_s)
    if max(before, after) <= SILENT_LUFS:
        return None
    step = after - before
    louder = "louder" if step > 0 else "softer"
    return measured(
        "level_match",
        value=step,
        score=falling(abs(step), good=1.5, bad=9.0 if step > 0 else 12.0),
        threshold="within 1.5 LU; 2 dB is heard as louder; softer is forgiven a little more",
        sentence=f"The new song is {abs(step):.1f} LU {louder} than the old."
        if abs(step) >= _EVEN_LU
        else "The new song is as loud as the old.",
        worst_beat=plan.entry_beat,
    )


def brightness(hearing: Listened) -> Measure | None:
    """The largest jump of the spectral centroid; None where nothing sounds."""
    octaves = hearing.brightness.values
    is_heard = ~np.isnan(octaves)
    if not is_heard.any():
        return None
    hops = np.arange(len(octaves))
    filled = np.interp(hops, hops[is_heard], octaves[is_heard])
    times_s, before, after = _around(
        hearing, filled, side_s=_BRIGHT_SIDE_S, near_beats=_BRIGHT_NEAR_BEATS
    )
    if not len(times_s):
        return None
    jumps = after - before
    worst = int(np.argmax(np.abs(jumps)))
    jump = float(jumps[worst])
    side = "brighter" if jump > 0 else "darker"
    return measured(
        "brightness",
        value=abs(jump),
        score=falling(abs(jump), good=_FINE_OCTAVES, bad=3.5),
        threshold="up to an octave and a half of the spectral centroid",
        sentence=(
            f"Suddenly much {side} (by {abs(jump):.1f} octaves)."
            if abs(jump) > _FINE_OCTAVES
            else f"No sudden change of colour (at most {abs(jump):.1f} octaves {side})."
        ),
        worst_beat=hearing.plan.beat_at(float(times_s[worst])),
    )


def _loud_part(hearing: Listened, side: Section, start_s: float, end_s: float) -> float:
    """Loudness of the louder half of a song in a stretch; very low for none.

    Of what sounds there its share of the power is its own: the old song that goes on under the new
    one is not the new one's level.
    """
    times_s, lufs = hearing.level.times_s, hearing.level.values
    inside = (times_s >= start_s) & (times_s < end_s)
    own = hearing.sides[side]
    together = np.sum([10.0 ** (each.level_db / 10.0) for each in hearing.sides.values()], axis=0)
    own_lufs = lufs + np.interp(times_s, own.times_s, own.level_db - 10.0 * np.log10(together))
    return float(np.quantile(own_lufs[inside], _LOUD_QUANTILE)) if inside.any() else 2 * SILENT_LUFS


def _power_mean_lufs(lufs: Floats) -> float:
    return float(10 * np.log10(np.mean(10 ** (lufs / 10)))) if len(lufs) else _FLOOR_LUFS


def _without_silence(loudness_lufs: Floats, limit_lufs: float) -> Floats:
    """The curve led straight over silences and their flanks, which the hole tells of."""
    reach = round(MOMENTARY_S / LEVEL_HOP_S)
    dead = np.convolve(loudness_lufs < limit_lufs, np.ones(2 * reach + 1), mode="same") > 0
    if dead.all() or not dead.any():
        return loudness_lufs
    hops = np.arange(len(dead))
    return np.interp(hops, hops[~dead], loudness_lufs[~dead])


def _around(
    hearing: Listened, curve: Floats, *, side_s: float, near_beats: float
) -> tuple[Floats, Floats, Floats]:
    """Mean of a curve just before and just after each time near the join: times, before, after."""
    plan, times_s = hearing.plan, hearing.level.times_s
    n_side, n_between = round(side_s / LEVEL_HOP_S), round(MOMENTARY_S / LEVEL_HOP_S)
    apart = n_side + n_between
    if len(curve) <= n_side + apart:
        return np.empty(0), np.empty(0), np.empty(0)
    means = np.convolve(curve, np.full(n_side, 1.0 / n_side), mode="valid")
    before, after = means[:-apart], means[apart:]
    times_s = times_s[: len(before)] + (n_side + n_between / 2) * LEVEL_HOP_S
    near = times_s >= plan.seconds_at(max(plan.exit_beat - near_beats, 0.0))
    near &= times_s <= plan.seconds_at(plan.entry_beat + near_beats)
    return times_s[near], before[near], after[near]
