"""Level and brightness of the two songs against each other, and the curve of loudness."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import MOMENTARY_S
from segue.score.energy import SILENT_LUFS, around
from segue.score.scorecard import CurveSample, Measure, falling

if TYPE_CHECKING:
    from segue.score.listening_to import Listened

_NEAR_BEATS: Final = 8.0  # only from so many beats before the exit to as many after the entry
_BRIGHT_SIDE_S: Final = 2.4  # brightness moves much by itself; by judgement
_LOUD_QUANTILE: Final = 0.75  # a stretch is as loud as the middle of its louder half
_EVEN_LU: Final = 0.5  # less is told as nothing
_FINE_OCTAVES: Final = 1.5  # a jump of brightness up to here is music; by judgement


def loudness_curve(hearing: Listened) -> tuple[CurveSample, ...]:
    """Momentary loudness, ten samples a second."""
    levels = hearing.levels
    return tuple(
        CurveSample(time_s=float(t), value=float(v))
        for t, v in zip(levels.times_s, levels.loudness_lufs, strict=True)
    )


def level_match(hearing: Listened) -> Measure | None:
    """Loudness of the new song against the old, both where they are loud; None without either.

    A fade before the exit or a soft first bar is how the songs are, not a fault of the match.
    """
    plan = hearing.plan
    before = _loud_part(hearing, 0.0, hearing.exit_s)
    after = _loud_part(hearing, hearing.entry_s + MOMENTARY_S, plan.duration_s)
    if max(before, after) <= SILENT_LUFS:
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
        sentence=f"The new song is {abs(step):.1f} LU {louder} than the old."
        if abs(step) >= _EVEN_LU
        else "The new song is as loud as the old.",
        worst_beat=plan.entry_beat,
    )


def brightness(hearing: Listened) -> Measure | None:
    """The largest jump of the spectral centroid; None where nothing sounds."""
    levels = hearing.levels
    is_heard = ~np.isnan(levels.centroid_octaves)
    if not is_heard.any():
        return None
    hops = np.arange(len(levels.times_s))
    filled = np.interp(hops, hops[is_heard], levels.centroid_octaves[is_heard])
    times_s, before, after = around(levels.times_s, filled, _BRIGHT_SIDE_S)
    plan = hearing.plan
    near = times_s >= plan.seconds_at(plan.exit_beat - _NEAR_BEATS)
    near &= times_s <= plan.seconds_at(plan.entry_beat + _NEAR_BEATS)
    if not near.any():
        return None
    times_s, jumps = times_s[near], (after - before)[near]
    worst = int(np.argmax(np.abs(jumps)))
    jump = float(jumps[worst])
    side = "brighter" if jump > 0 else "darker"
    return Measure(
        name="brightness",
        label="brightness jump",
        value=abs(jump),
        unit="octaves",
        score=falling(abs(jump), good=_FINE_OCTAVES, bad=3.5),
        threshold="up to an octave and a half of the spectral centroid",
        source="set by judgement",
        sentence=(
            f"Suddenly much {side} (by {abs(jump):.1f} octaves)."
            if abs(jump) > _FINE_OCTAVES
            else f"No sudden change of colour (at most {abs(jump):.1f} octaves {side})."
        ),
        worst_beat=plan.beat_at(float(times_s[worst])),
    )


def _loud_part(hearing: Listened, start_s: float, end_s: float) -> float:
    """Loudness of the louder half of a stretch; very low for none."""
    levels = hearing.levels
    inside = levels.loudness_lufs[(levels.times_s >= start_s) & (levels.times_s < end_s)]
    return float(np.quantile(inside, _LOUD_QUANTILE)) if len(inside) else 2 * SILENT_LUFS
