"""What is heard under a talk: level against both songs, evenness, hits, and room for a voice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import find_peaks, welch

from segue.analysis.onsets import band_rises
from segue.audio.loudness import lufs_of_a_song, momentary_lufs

if TYPE_CHECKING:
    from segue.audio.clip import Clip
    from segue.plan import Plan

SAME_LEVEL_LU: Final = 4.0
"""Songs as loud as each other but for this can both be 12 to 16 LU over a bed."""


@dataclass(frozen=True, slots=True)
class Bed:
    """What is heard under a talk, up to the bars that call the singer.

    Parameters
    ----------
    under_old_lu, under_new_lu : float
        How far it lies under either song.
    spread_lu : float
        Standard deviation of its momentary loudness.
    lowest_lu : float
        Its softest moment against its mean.
    hits_a_s : float
        Moments a second at which all bands rise by 3 dB and more in the mean.
    voice_db : float
        1 to 4 kHz against the songs'.
    """

    under_old_lu: float
    under_new_lu: float
    spread_lu: float
    lowest_lu: float
    hits_a_s: float
    voice_db: float

    @property
    def is_fit(self) -> bool:
        """Whether one can talk over it."""
        under = (self.under_old_lu, self.under_new_lu)
        about_as_loud = abs(under[0] - under[1]) <= SAME_LEVEL_LU
        level = all(12 <= x <= 16 for x in under) if about_as_loud else 5 <= min(under) <= 16
        calm = self.spread_lu <= 2 and self.lowest_lu >= -8 and self.hits_a_s <= 2
        return level and calm and self.voice_db <= -3


def bed_of(plan: Plan, music: Clip) -> Bed | None:
    """What is heard under a talk; None where there is too little of it."""
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    until = max(
        (p.beat for p in plan.bridge_lu if p.value <= -10 and p.beat < plan.entry_beat),
        default=plan.exit_beat,
    )
    low_s, high_s = exit_s + 2.5, plan.seconds_at(until) - 0.3
    if high_s < low_s + 3.0:
        return None
    times_s, lufs = momentary_lufs(music, hop_s=0.1)
    near = [(exit_s - 8.0, exit_s - 0.3), (entry_s + 0.3, entry_s + 8.0)]
    old, new = (lufs_of_a_song(lufs[(times_s >= a) & (times_s < b)]) for a, b in near)
    bed = lufs[(times_s >= low_s) & (times_s < high_s)]
    rise_s, rises_db = band_rises(music)
    inside = rises_db[(rise_s >= low_s) & (rise_s < high_s)]

    def voice_db(a: float, b: float) -> float:
        part = music.samples[round(a * music.rate_hz) : round(b * music.rate_hz)].mean(axis=1)
        hertz, power = welch(part, music.rate_hz, nperseg=4096)
        voice = power[(hertz >= 1000) & (hertz < 4000)].sum()
        return float(10 * np.log10(voice / power.sum()))

    return Bed(
        old - float(bed.mean()),
        new - float(bed.mean()),
        float(bed.std()),
        float(bed.min() - bed.mean()),
        len(find_peaks(inside, height=3.0, distance=5)[0]) / (high_s - low_s),
        voice_db(low_s, high_s) - float(np.mean([voice_db(*span) for span in near])),
    )
