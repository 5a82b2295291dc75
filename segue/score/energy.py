"""What the room feels: cliffs, which way it drives, how it lands, how full it is.

Loudness, low end, density of onsets and brightness of the bridge, each against the two songs next
to it, and what they should do for the purpose: rise into bar one for a lift, stay level for
dancing, fall for calm, leave room for a voice in a talk. Songs themselves move by about 4 LU
within their last and first 45 s (measured on recordings: 10 % of them lies 4.3 LU below the
whole, 5 % 2.7 LU above); loudness drives felt arousal causally [Dea11]_.

References
----------
.. [Dea11] R. Dean, F. Bailes and E. Schubert, "Acoustic intensity causes perceived changes in
   arousal levels in music", PLoS ONE 6(4), 2011.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.audio.loudness import MOMENTARY_S
from segue.score.bridge import AROUND_S
from segue.score.level_curves import HOP_S
from segue.score.scorecard import Measure, NotMeasured, falling, rising

if TYPE_CHECKING:
    from segue.score.listening_to import Listened
    from segue.score.weights import Purpose

Floats = npt.NDArray[np.float64]

DEAD_BELOW_TARGET_LU: Final = 29.0
"""So far below the level of the songs a hall hears nothing. Set by judgement; how loud a file is by
itself says nothing, since the rig is turned up until the songs fill the room."""
SILENT_LUFS: Final = -75.0  # nothing sounds at all; by judgement
_SIDE_S: Final = 1.2  # loudness is compared over this time before and after; by judgement
_NEAR_BEATS: Final = 2.0
"""Steps count from so many beats before the exit to as many after the entry: further off the
songs do as they like. Set by judgement."""
_FLOOR_LUFS: Final = -100.0  # stands for nothing
_LEAST_BRIDGE_S: Final = 2.0  # shorter is no stretch of music
_USAGE: Final = "common practice, no source"
_JUDGED: Final = "set by judgement, on pairs of real songs"

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
FULL_LU: Final[dict[Purpose | None, tuple[float, float]]] = {
    None: (-3.0, 4.5), "lift": (-2.0, 6.0), "calm": (-1.0, 9.0), "dance": (-3.0, 3.5)}
"""The bridge below the quieter song: from, to. Within 6 LU it is inside the songs' own
breathing."""
# fmt: on


def songs_lufs(hearing: Listened) -> tuple[float, float]:
    """Median loudness of the old song's last 8 s and of the new song's first 8 s."""
    levels = hearing.levels

    def median(low_s: float, high_s: float) -> float:
        inside = levels.loudness_lufs[(levels.times_s >= low_s) & (levels.times_s < high_s)]
        return float(np.median(inside)) if len(inside) else _FLOOR_LUFS

    exit_s, entry_s = hearing.exit_s, hearing.entry_s
    return median(exit_s - AROUND_S, exit_s - 0.3), median(entry_s + 0.3, entry_s + AROUND_S)


def dead_lufs(hearing: Listened) -> float:
    """Loudness below which a moment counts as silent."""
    return hearing.plan.target_lufs - DEAD_BELOW_TARGET_LU


def cliff(hearing: Listened) -> Measure | None:
    """The largest fall or rise within a second that the purpose does not ask for."""
    levels = hearing.levels
    if levels.loudness_lufs.max(initial=-100.0) <= SILENT_LUFS:
        return None
    sounding = _without_silence(levels.loudness_lufs, dead_lufs(hearing))
    times_s, before, after = _around(10.0 ** (sounding / 10.0), hearing)
    if not len(times_s):
        return None
    steps = 10.0 * np.log10(after / before)
    fall, rise = FALL_LU[hearing.aim], RISE_LU[hearing.aim]
    over = np.where(steps < 0, -steps - fall, steps - rise)
    worst = int(np.argmax(over))
    step = float(steps[worst])
    fine = fall if step < 0 else rise
    return Measure(
        name="cliff",
        label="cliff",
        value=step,
        unit="LU",
        score=falling(float(over[worst]), good=0.0, bad=12.0),
        threshold=f"up to {fine:g} LU sounds normal; {fine + 12:g} LU is a jolt",
        source=_USAGE,
        sentence=(
            f"Within a second it gets {abs(step):.1f} LU {'louder' if step > 0 else 'softer'}; "
            f"up to {fine:g} LU sounds normal."
        ),
        worst_beat=hearing.plan.beat_at(float(times_s[worst])),
    )


def bar_one(hearing: Listened) -> Measure | None:
    """How it lands: the second after bar one against the second before; None for silence."""
    levels = hearing.levels
    entry_s = hearing.entry_s
    before = _mean_lufs(hearing, entry_s - 1.0, entry_s - MOMENTARY_S / 2)
    after = _mean_lufs(hearing, entry_s + MOMENTARY_S / 2, entry_s + 1.0 + MOMENTARY_S)
    if levels.loudness_lufs.max(initial=-100.0) <= SILENT_LUFS:
        return None
    step = after - max(before, dead_lufs(hearing))
    low, high = BAR_ONE_LU[hearing.aim]
    off = max(low - step, step - high, 0.0)
    words = f"Bar one lands {abs(step):.1f} LU {'louder' if step >= 0 else 'softer'}"
    if step < low:
        words += ": it sags into the new song"
    elif step > high:
        words += ": the bridge is too thin before it"
    return Measure(
        name="bar_one",
        label="landing on bar one",
        value=step,
        unit="LU",
        score=falling(off, good=0.0, bad=10.0),
        threshold=f"{low:+g} to {high:+g} LU from the second before to the second after",
        source=_JUDGED,
        sentence=f"{words}.",
        worst_beat=hearing.plan.entry_beat,
    )


def drive(hearing: Listened) -> Measure | NotMeasured | None:
    """Whether the bridge goes where the purpose wants it; nothing is asked of a talk bed."""
    bridge, plan = hearing.bridge, hearing.plan
    if hearing.aim == "talk" or hearing.is_silent:
        return None
    if bridge.length_s < _LEAST_BRIDGE_S:
        return NotMeasured(
            name="drive", label="drive", why="the bridge is too short to go anywhere"
        )
    value, score, sentence, threshold = _drive_for(hearing)
    return Measure(
        name="drive",
        label="drive",
        value=value,
        unit="LU",
        score=score,
        threshold=threshold,
        source="Dean, Bailes & Schubert 2011 (loudness moves); amounts set by judgement",
        sentence=sentence,
        worst_beat=(plan.exit_beat + plan.entry_beat) / 2.0
        if hearing.aim
        else max(plan.entry_beat - 1.0, plan.exit_beat),
    )


def _drive_for(hearing: Listened) -> tuple[float, float, str, str]:
    """Value, mark, sentence and threshold of the drive for the purpose."""
    bridge = hearing.bridge
    rise = bridge.rise_lu
    way = f"{abs(rise):.1f} LU {'louder' if rise >= 0 else 'softer'}"
    match hearing.aim:
        case "lift":
            other = max(np.log2(max(bridge.brighter, 0.1)), np.log2(max(bridge.denser, 0.1)))
            told = "It lifts" if bridge.lifts else "It does not lift"
            return (
                rise,
                0.5 * rising(rise, bad=-4.0, good=7.0)
                + 0.2 * rising(rise, bad=-16.0, good=-4.0)
                + 0.3 * rising(float(other), bad=-0.3, good=0.8),
                (
                    f"{told}: it ends {way}, {bridge.brighter:.1f} times as bright and "
                    f"{bridge.denser:.1f} times as dense as it begins."
                ),
                "louder by 4 LU, brighter and denser by a third: two of the three",
            )
        case "calm":
            score = 0.6 * falling(rise, good=1.0, bad=7.0)
            score += 0.4 * falling(bridge.onsets_a_s, good=2.5, bad=7.0)
            told = "It calms" if score > _GOOD else "It does not calm"
            return (
                rise,
                score,
                f"{told}: it ends {way} than it begins, {bridge.onsets_a_s:.1f} hits a second.",
                "no louder than it begins, up to 2.5 hits a second",
            )
        case "dance":
            sag = max(float(-min(bridge.curve_lu)), 0.0)
            told = "It keeps going" if sag <= _SAG_LU else "It lets the floor go"
            return (
                sag,
                falling(sag, good=_SAG_LU, bad=14.0),
                f"{told}: at its thinnest {sag:.1f} LU below the songs.",
                f"never more than {_SAG_LU:g} LU below the songs",
            )
        case _:
            told = "It leads on" if bridge.dip_lu <= _SAG_LU else "It sags before bar one"
            return (
                bridge.dip_lu,
                falling(bridge.dip_lu, good=3.0, bad=12.0),
                f"{told}: the last second is at most {bridge.dip_lu:.1f} LU softer."
                if bridge.dip_lu >= _EVEN_LU
                else f"{told}: no dip in the last second.",
                "up to 3 LU softer in the last second before bar one",
            )


_GOOD: Final = 0.75  # a mark from which a purpose is said to be met; by judgement
_SAG_LU: Final = 4.0  # the songs' own breathing
_EVEN_LU: Final = 0.5  # less is told as nothing


def fullness(hearing: Listened) -> Measure | NotMeasured | None:
    """How full the bridge is, against the songs; a talk bed is judged by its room for words."""
    bridge = hearing.bridge
    if hearing.aim == "talk" or hearing.is_silent:
        return None
    if bridge.length_s < _LEAST_BRIDGE_S:
        return NotMeasured(name="fullness", label="fullness", why="there is hardly a bridge")
    low_lu, high_lu = FULL_LU[hearing.aim]
    off = max(low_lu - bridge.below_lu, bridge.below_lu - high_lu, 0.0)
    thin_db = _low_end_lost_db(hearing)
    score = 0.5 * falling(off, good=0.0, bad=9.0)
    score += 0.3 * falling(thin_db, good=6.0, bad=24.0)
    score += 0.2 * falling(abs(bridge.air_db), good=4.0, bad=14.0)
    side = "softer" if bridge.below_lu >= 0 else "louder"
    found = [f"{abs(bridge.below_lu):.1f} LU {side} than the quieter song"]
    if abs(bridge.below_lu) < _EVEN_LU:
        found = ["as loud as the quieter song"]
    if thin_db > _THIN_DB:
        found.append("without the songs' low end")
    if abs(bridge.air_db) > _AIR_DB:
        found.append("duller" if bridge.air_db < 0 else "harsher")
    plan = hearing.plan
    return Measure(
        name="fullness",
        label="fullness",
        value=bridge.below_lu,
        unit="LU",
        score=score,
        threshold=f"{-high_lu:+g} to {-low_lu:+g} LU against the quieter song, its low end and air",
        source=_JUDGED,
        sentence=f"The bridge is {', '.join(found)}.",
        worst_beat=(plan.exit_beat + plan.entry_beat) / 2.0,
    )


_THIN_DB, _AIR_DB = 9.0, 5.0
"""More low end lost, or air unlike the songs' by more, is said in words. Set by judgement."""
_LOW_HZ: Final = 150.0  # below lie kick and bass


def _low_end_lost_db(hearing: Listened) -> float:
    """How far the low end of the bridge lies below that of the song that has less of it."""
    room, exit_s, entry_s = hearing.room, hearing.exit_s, hearing.entry_s
    old, inside, new = (
        room.band_level_db(a, b, 0.0, _LOW_HZ)
        for a, b in (
            (exit_s - AROUND_S, exit_s),
            (exit_s + 0.3, entry_s - 0.2),
            (entry_s, entry_s + AROUND_S),
        )
    )
    return max(min(old, new) - inside, 0.0)


def _mean_lufs(hearing: Listened, low_s: float, high_s: float) -> float:
    levels = hearing.levels
    inside = levels.loudness_lufs[(levels.times_s >= low_s) & (levels.times_s < high_s)]
    return float(10 * np.log10(np.mean(10 ** (inside / 10)))) if len(inside) else _FLOOR_LUFS


def _without_silence(loudness_lufs: Floats, limit_lufs: float) -> Floats:
    """The curve led straight over silences and their flanks, which the hole tells of."""
    reach = round(MOMENTARY_S / HOP_S)
    dead = np.convolve(loudness_lufs < limit_lufs, np.ones(2 * reach + 1), mode="same") > 0
    if dead.all() or not dead.any():
        return loudness_lufs
    hops = np.arange(len(dead))
    return np.interp(hops, hops[~dead], loudness_lufs[~dead])


def _around(curve: Floats, hearing: Listened) -> tuple[Floats, Floats, Floats]:
    """Mean of a curve just before and just after each time, near the join: times, before, after."""
    plan = hearing.plan
    times_s, before, after = around(hearing.levels.times_s, curve, _SIDE_S)
    near = times_s >= plan.seconds_at(max(plan.exit_beat - _NEAR_BEATS, 0.0))
    near &= times_s <= plan.seconds_at(plan.entry_beat + _NEAR_BEATS)
    return times_s[near], before[near], after[near]


def around(times_s: Floats, curve: Floats, side_s: float) -> tuple[Floats, Floats, Floats]:
    """Mean of a curve of `HOP_S` just before and just after each time: times, before, after."""
    n_side, n_between = round(side_s / HOP_S), round(MOMENTARY_S / HOP_S)
    apart = n_side + n_between
    if len(curve) <= n_side + apart:
        return np.empty(0), np.empty(0), np.empty(0)
    means = np.convolve(curve, np.full(n_side, 1.0 / n_side), mode="valid")
    before, after = means[:-apart], means[apart:]
    return times_s[: len(before)] + (n_side + n_between / 2) * HOP_S, before, after
