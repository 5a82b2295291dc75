"""How loud a bridge is to be, by what is heard around it.

Said is a level against the quieter of the old song's last bars and the new song's first, in
momentary loudness (ITU-R BS.1770 [R128]_) of the sum. From a louder song it comes down, to a
louder one it goes up, and towards one that starts softly it sinks.

What is loud for a moment and soft for the next is averaged as `mean_lufs` does: a mean of powers
would hear the hits alone and duck what lies around them.

References
----------
.. [R128] EBU Tech 3341, "Loudness metering: 'EBU Mode' metering", v4.0, 2023.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import MOMENTARY_S, lufs_of_a_song, mean_lufs
from segue.plan.shaping import value_at

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats
    from segue.plan.layer import Curve
    from segue.plan.plan import Plan


AROUND_S: Final = 8.0
"""So much of either song tells how loud it is at the join."""
CLEAR_S: Final = 0.3
"""Kept clear of the join itself. Set by judgement."""
QUIETEST_LUFS: Final = -60.0
"""A song below this at the join says nothing about level."""
_TINY: Final = 1e-12  # keeps a logarithm from nought


def wanted_level(
    songs: Floats, ahead: Floats, times_s: Floats, inside: Flags, plan: Plan
) -> tuple[Floats, float] | None:
    """How loud the bridge is to be, and from when on the new song is there.

    Parameters
    ----------
    songs : ndarray, shape (n,)
        Mean square, K-weighted, of both songs around the bridge.
    ahead : ndarray, shape (n_inside,)
        The same inside the bridge, of the songs that do not carry it.
    times_s : ndarray, shape (n,)
    inside : ndarray, shape (n,)
        Which times are the bridge's.

    Returns
    -------
    tuple of (ndarray, shape (n_inside,), float) or None
        In LUFS, and in seconds; None where both songs are silent around it.
    """
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    heard = _around(songs, times_s, exit_s, entry_s)
    if heard is None:
        return None
    old, new = heard
    audible = new - MOST_UNDER_LU
    around = (max(old, audible), new)
    left_lufs = audible if old < audible else min(old, _left_at_lufs(songs, times_s, exit_s))
    there_s = times_s[inside]
    until_s = _met_at_s(ahead, there_s, around[1])
    length_s = until_s - exit_s
    share = np.minimum((there_s - exit_s) / length_s, 1.0)
    own_lu = np.array([value_at(plan.bridge_lu, beat) for beat in plan.beats_at(there_s)])
    wanted = own_lu + _eased(around, left_lufs, (share, length_s), plan)
    wanted += _gone_up_lu(around, (share, length_s), own_lu, plan.bridge_lu)
    met_lufs = _met_at_lufs(songs, times_s, entry_s)
    wanted -= _sunk_lu(around, met_lufs, (share, length_s), plan.bridge_lu)
    wanted += bed_above_lu(*around) * np.clip((CALM_LU - own_lu) / (CALM_LU - BED_LU), 0.0, 1.0)
    return wanted, until_s


MOST_UNDER_LU: Final = 15.0
"""An old song that has died away further than this below the new one says nothing about level: the
murmur of a room would cover a bridge that goes on from there. Set by judgement."""


def _around(
    songs: Floats, times_s: Floats, exit_s: float, entry_s: float
) -> tuple[float, float] | None:
    """Loudness of the old song's last bars and of the new song's first; None for silence.

    The mean of momentary loudness; of a song that rings out or fades away there,
    what it was just before. Where only one of the songs sounds, both are its loudness.
    """
    levels = []
    for low, high in (
        (exit_s - AROUND_S, exit_s - CLEAR_S),
        (entry_s + CLEAR_S, entry_s + AROUND_S),
    ):
        lufs = _lufs(songs[(times_s >= low) & (times_s < high)])
        if lufs.size:
            levels.append(lufs_of_a_song(lufs))
    heard = [level for level in levels if level > QUIETEST_LUFS]
    if not heard:
        return None
    old, new = ([*levels, levels[-1]])[:2]
    return (
        old if old > QUIETEST_LUFS else min(heard),
        new if new > QUIETEST_LUFS else min(heard),
    )


def _lufs(power: Floats) -> Floats:
    return np.asarray(10 * np.log10(power + _TINY))


def _mean(power: Floats) -> float:
    """Mean loudness; infinite where nothing tells."""
    return mean_lufs(_lufs(power)) if power.size else np.inf


LEFT_S: Final = 1.5
"""A song that has grown soft by its end is left at the loudness of its last moments."""


def _left_at_lufs(songs: Floats, times_s: Floats, exit_s: float) -> float:
    return _mean(songs[(times_s >= exit_s - LEFT_S) & (times_s < exit_s - MOMENTARY_S / 2)])


MET_S: Final = 3.0
"""A song that starts softly is met at the loudness of its first moments..."""
MET_ABOVE_LU: Final = 3.0  # ...or up to so much above them, which nobody takes for a drop...
MOST_SUNK_LU: Final = 14.0  # ...but a bridge never sinks further than this. By judgement, all.


def _met_at_lufs(songs: Floats, times_s: Floats, entry_s: float) -> float:
    return _mean(songs[(times_s > entry_s + MOMENTARY_S / 2) & (times_s <= entry_s + MET_S)])


def _met_at_s(songs: Floats, times_s: Floats, new_lufs: float) -> float:
    """From when on the new song is there, also before bar one: a pick-up may be the whole band.

    Up to there the bridge has to be where it leads; seconds, the last of `times_s` at the latest.
    """
    is_there = _lufs(songs) > new_lufs - THERE_LU
    first_left = len(times_s) // 4  # of the old song's ring nothing is to be taken for it
    away = np.flatnonzero(~is_there[first_left:])
    first = first_left + (int(away[-1]) + 1 if len(away) else 0)
    return float(times_s[min(first, len(times_s) - 1)])


THERE_LU: Final = 6.0
"""A song that is no further below its first bars than this is there. Set by judgement."""


def _sunk_lu(
    around: tuple[float, float], met_lufs: float, over: tuple[Floats, float], bridge_lu: Curve
) -> Floats:
    """How far the bridge comes down towards bar one of a song that starts softly."""
    share, length_s = over
    ends_lufs = min(around) + bridge_lu[-1].value
    sinks_lu = min(max(ends_lufs - met_lufs - MET_ABOVE_LU, 0.0), MOST_SUNK_LU)
    return sinks_lu * np.clip(1 - (1 - share) / _share_for(sinks_lu, length_s), 0.0, 1.0)


def _share_for(change_lu: float, length_s: float) -> float:
    """Over how much of the bridge it walks from one level to another."""
    return min(max(change_lu / (WALK_LU_A_S * length_s), EASED_SHARE), MOST_SHARE)


WALK_LU_A_S: Final = 4.0
"""So fast it walks from a louder song to its own level, and from there up to one: no faster, or it
would be heard as a step, and no slower, or it would lie at neither level for most of its length."""
EASED_SHARE: Final = 0.25  # but over no less of it than this...
MOST_SHARE: Final = 0.7  # ...and over no more. Set by judgement, all three.
MOST_STEP_LU: Final = 5.0
"""Up to a louder song it goes half the way, or so far that no more than this is left for bar one: a
step of 4 to 6 LU on a line is a lift, and more is another song (common practice, no source)."""
CALM_LU: Final = -3.0
"""A bridge that ends no higher is calm: it goes up to a louder song only so far..."""
CALM_STEP_LU: Final = 8.0  # ...that no more than this is left for bar one. Set by judgement.
TALK_LU: Final = -8.0
"""One that starts below this does not come down from a louder song either."""
BED_LU: Final = -14.0
"""At this it is a bed to talk over. It lies between the two songs: the speaker is as loud as the
louder one, and next to that a bed far below the quieter one would be silence..."""
BED_NOT_BELOW_LU: Final = 16.0  # ...so far under the louder one at most...
BED_UNDER_LU: Final = 6.0  # ...but at least so far under the quieter. Set by judgement, all three.
LIFT_LU: Final = 5.0
"""One that rises by this is a build: it drops first, as one with a stop does, and then climbs..."""
DROP_S: Final = 0.5
"""...so both come down from a louder song within this, as a band stops. By judgement, both."""


def _eased(
    around: tuple[float, float], left_lufs: float, over: tuple[Floats, float], plan: Plan
) -> Floats:
    """What the bridge's own curve is added to: the quieter song, and a slope from a louder old one.

    What goes on after a build or a stop comes down at once.
    """
    (old, new), (share, length_s), bridge_lu = around, over, plan.bridge_lu
    eased = np.full(len(share), min(old, new))
    rise_lu = bridge_lu[-1].value - bridge_lu[0].value
    builds = rise_lu >= LIFT_LU and bridge_lu[-1].value > CALM_LU
    if bridge_lu[0].value > TALK_LU:
        falls_lu = max(left_lufs - eased[0], 0.0)
        down = DROP_S / length_s if builds or plan.stop_beats else _share_for(falls_lu, length_s)
        eased += falls_lu * np.clip(1 - share / down, 0.0, 1.0)
    return eased


def _gone_up_lu(
    around: tuple[float, float], over: tuple[Floats, float], own_lu: Floats, bridge_lu: Curve
) -> Floats:
    """How far the bridge goes up to a song that is louder than the old one.

    A bed goes up when its own level does, in its last bars.
    """
    (old, new), (share, length_s) = around, over
    starts_lu, ends_lu = bridge_lu[0].value, bridge_lu[-1].value
    louder_lu = new - old
    rises_lu = max(louder_lu / 2, louder_lu - MOST_STEP_LU)
    if ends_lu <= CALM_LU:
        rises_lu = louder_lu - CALM_STEP_LU
    if rises_lu <= 0.0:
        return np.zeros(len(share))
    gone = 1 - (1 - share) / _share_for(rises_lu, length_s)
    if starts_lu <= TALK_LU < ends_lu:
        gone = (own_lu - starts_lu) / (ends_lu - starts_lu)
    return np.asarray(rises_lu * np.clip(gone, 0.0, 1.0), dtype=np.float64)


def bed_above_lu(old_lufs: float, new_lufs: float) -> float:
    """How much less far a bed lies under the quieter of two songs than the recipe says.

    Examples
    --------
    >>> bed_above_lu(-16.0, -20.0), bed_above_lu(-16.0, -34.0)
    (2.0, 8.0)
    """
    apart_lu = abs(old_lufs - new_lufs)
    from_louder_lu = min(apart_lu / 2 - BED_LU, BED_NOT_BELOW_LU)
    return max(min(apart_lu - from_louder_lu - BED_LU, -BED_LU - BED_UNDER_LU), 0.0)
