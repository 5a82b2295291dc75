"""Holes: where the room hears nothing, and the songs are not to blame.

Counted is what lies between the last sound of the old song and the first of the new. Before and
after, to a bar off, a song may be as soft as it is by itself: one that dies away over a bar, or
swells up from nothing after bar one, has no hole there. Nor has a talk one before the bar line on
which its bed begins: a song that has ended there is clapped.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import MOMENTARY_S, mean_lufs
from segue.score.bridge import LEVEL_HOP_S
from segue.score.leaving import source_s
from segue.score.level_steps import SILENT_LUFS, dead_lufs, songs_lufs
from segue.score.scorecard import Measure, falling, measured

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.arrays import Flags, Floats
    from segue.plan.layer import Side
    from segue.plan.plan import Plan
    from segue.score.listening_to import Listened


HOLE_LU: Final = 12.0
"""This far under the quieter song is a hole."""
TALK_HOLE_LU: Final = 10.0
"""A talk bed lies low on purpose: this far below itself is a hole in it. Set by judgement."""
BREATH_S: Final = 0.6
"""No longer than this, it is a breath and no hole. Set by judgement."""
HOLE_FAULT_S: Final = 1.0
"""A longer hole is a bad fault: nothing with one is ranked first. Set by judgement."""
_FLOOR_LUFS: Final = -100.0  # stands for nothing
_LOOK_BEATS: Final = 5  # a bar, to find the song next to the bridge
_HELD_BACK_LU: Final = 8.0  # a song so far below itself is held back; by judgement
_RINGING_S: Final = 0.5
"""So shortly before the exit the old song may ring, but the bridge has to be there."""


def hole(hearing: Listened) -> Measure:
    """The longest stretch far below both songs that neither song makes by itself."""
    level, plan = hearing.level, hearing.plan
    is_low = level.values < _limits_lufs(hearing)
    is_low &= ~_is_own(hearing) & ~_is_planned(hearing)
    is_low &= level.times_s >= plan.seconds_at(0.0) + MOMENTARY_S / 2
    is_low &= level.times_s <= plan.duration_s - MOMENTARY_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_low.astype(int), [0]])))
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    worst = int(np.argmax(lengths)) if len(lengths) else 0
    # a block is quiet only when all of it is, so a hole is longer than its quiet blocks
    each_s = lengths * LEVEL_HOP_S + MOMENTARY_S
    seconds = float(each_s.max(initial=0.0))
    more_s = float(np.maximum(each_s - BREATH_S, 0.0).sum()) - max(seconds - BREATH_S, 0.0)
    return measured(
        "hole",
        value=seconds,
        score=falling(seconds + more_s, good=BREATH_S, bad=2.0),
        threshold=f"half a second {HOLE_LU:g} LU below the songs is a breath, 2 s are a fault",
        sentence=(
            f"A hole of {seconds:.1f} s: far below both songs."
            if seconds > BREATH_S
            else f"A breath of {seconds:.1f} s, no more."
            if seconds > 0.0
            else f"No gap; quietest moment {_quietest_lufs(hearing):.0f} LUFS."
        ),
        worst_beat=plan.beat_at(float(level.times_s[starts[worst]])) if len(lengths) else None,
    )


def _limits_lufs(hearing: Listened) -> Floats:
    """What is a hole at each time: in the bridge far below the songs, elsewhere silence."""
    times_s, ends_s = hearing.level.times_s, own_ends_s(hearing)
    since_s = max(ends_s[0], hearing.exit_s - _RINGING_S)
    is_bridge = (times_s >= since_s) & (times_s < ends_s[1])
    return np.where(is_bridge, _bridge_lufs(hearing), dead_lufs(hearing))


def _bridge_lufs(hearing: Listened) -> float:
    """Below it the bridge has a hole: far below the quieter song, and for a talk below the bed."""
    if hearing.aim != "talk":
        return max(min(songs_lufs(hearing)) - HOLE_LU, dead_lufs(hearing))
    inside = hearing.level.part(hearing.exit_s, hearing.entry_s)
    bed = float(np.median(inside)) if len(inside) else _FLOOR_LUFS
    # how low the bed may lie is told by the room for words; silence stays silence
    return max(bed - TALK_HOLE_LU, dead_lufs(hearing) - TALK_HOLE_LU)


def own_ends_s(hearing: Listened) -> tuple[float, float]:
    """Where the old song has rung out and where the new one first sounds.

    Seconds of the candidate: at most a bar before the exit, and a bar after the entry.
    """
    plan, (old, new) = hearing.plan, hearing.facts
    bar_before_s, bar_after_s = _a_bar_off(hearing)
    over_s = old.ending.rung_out_s if old.ending else None
    end_s, start_s = hearing.exit_s, hearing.entry_s
    file_s, starts_s = _file_began_s(plan, "outgoing"), _file_began_s(plan, "incoming")
    if over_s is not None and file_s is not None:
        end_s = min(file_s + over_s, end_s)
    if new.opening is not None and starts_s is not None:
        start_s = max(starts_s + new.opening.sound_start_s, start_s)
    return max(end_s, bar_before_s), min(start_s, bar_after_s)


def _file_began_s(plan: Plan, side: Side) -> float | None:
    """When a song's file would have begun, by what of it sounds next to the bridge."""
    step, edge = (-1.0, plan.exit_beat) if side == "outgoing" else (1.0, plan.entry_beat)
    for n_beats in range(_LOOK_BEATS):  # a file may end before its last bar does
        at_s = source_s(plan, side, edge + step * n_beats)
        if at_s is not None:
            return plan.seconds_at(edge + step * n_beats) - at_s
    return None


def _a_bar_off(hearing: Listened) -> tuple[float, float]:
    """A bar before the exit (for a talk the exit) and a bar after the entry, in seconds."""
    plan, metre = hearing.plan, hearing.metre
    before = 0 if hearing.aim == "talk" else metre
    first = plan.seconds_at(max(plan.exit_beat - before, 0.0))
    return first, min(plan.seconds_at(plan.entry_beat + metre), plan.duration_s)


def _is_own(hearing: Listened) -> Flags:
    """Whether what is soft at each time is the song's own: it is not the bridge's to fill."""
    times_s = hearing.level.times_s
    end_s, start_s = own_ends_s(hearing)
    first_s, last_s = _a_bar_off(hearing)
    is_own = (times_s < first_s) | (times_s >= last_s)
    plan, (old, new) = hearing.plan, hearing.facts
    before = (times_s >= first_s) & (times_s < end_s)
    after = (times_s >= start_s) & (times_s < last_s)
    for inside, facts, gain_db, file_s in (
        (before, old, plan.outgoing_gain_db, _file_began_s(plan, "outgoing")),
        (after, new, plan.incoming_gain_db, _file_began_s(plan, "incoming")),
    ):
        if inside.any():
            below_lu = _below_own_lu(hearing, facts, gain_db, file_s)[inside]
            heard_lufs = hearing.level.values[inside]
            is_own[inside] = np.where(
                np.isnan(below_lu), heard_lufs > SILENT_LUFS, below_lu < _HELD_BACK_LU
            )
    return is_own


def _below_own_lu(
    hearing: Listened, facts: EdgeFacts, gain_db: float, file_s: float | None
) -> Floats:
    """How far below the song's own bar each time's bar is heard; NaN where no bar is known.

    Of whole bars: one that is a hit and its decay is soft for most of its length.
    """
    times_s, lufs = hearing.level.times_s, hearing.level.values
    below_lu = np.full(len(times_s), np.nan)
    if file_s is None:
        return below_lu
    for bar in facts.bars:
        inside = (times_s >= file_s + bar.start_s) & (times_s < file_s + bar.end_s)
        if inside.any():
            below_lu[inside] = bar.level_lufs + gain_db - mean_lufs(lufs[inside])
    return below_lu


def _is_planned(hearing: Listened) -> Flags:
    """The stop that the recipe plans: as long as it says, it is no hole."""
    times_s, plan = hearing.level.times_s, hearing.plan
    if plan.stop_beats <= 0.0:
        return np.zeros(len(times_s), dtype=np.bool_)
    until_s = plan.seconds_at(min(plan.exit_beat + plan.stop_beats, plan.entry_beat))
    # what is left of a silence begins where the blocks no longer reach into the stop
    return np.asarray(
        (times_s >= hearing.exit_s - MOMENTARY_S) & (times_s < until_s + MOMENTARY_S / 2)
    )


def _quietest_lufs(hearing: Listened) -> float:
    """Least momentary loudness from a bar before the exit to a bar after the entry."""
    level, (first_s, last_s) = hearing.level, _a_bar_off(hearing)
    inside = (level.times_s >= first_s) & (level.times_s <= last_s)
    return float(level.values[inside].min(initial=0.0))
