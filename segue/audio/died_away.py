"""Where a song has died away, though its file goes on.

A room hears nothing of what stays 20 dB and more under the song: a murmur of its own lies over it.
Told by mean square alone, so that a few seconds that stand out of it do not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import Clip

AWAY_DB: Final = 20.0
"""What lies so far below the song is a quarter as loud (twice as loud every 9 to 10 dB: S. S.
Stevens, "Perceived level of noise by Mark VII", J. Acoust. Soc. Am. 51, 1972, from memory)."""
_BACK_DB: Final = 15.0  # what comes up to this has not died away, however short; by judgement
_MOST_BACK_SHARE: Final = 0.1  # of what follows may stand out a little; by judgement
_FALLS_DB: Final = 6.0  # a song that has sunk by this for good is dying away; by judgement
_SOUND_DB: Final = 60.0  # what is further below is silence, as in reverberation time
_TOP_PERCENT: Final = 95.0  # percentile of its levels that is the song's; by judgement
_HOP_S: Final = 0.1  # from level to level; by judgement
_SLOW_HOPS: Final = 20  # that a level is the mean of, 2 s; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class DiedAway:
    """How a clip dies away before its last sound; seconds from its start.

    Parameters
    ----------
    sinks_s, away_s : float
        From when on it sinks, and from when on it stays `AWAY_DB` below itself, but for moments.
    last_sound_s : float
        Where even that is over.
    """

    sinks_s: float
    away_s: float
    last_sound_s: float


def died_away(clip: Clip) -> DiedAway | None:
    """How a clip dies away, if only with its last sound; None where there is hardly any sound."""
    hop = round(_HOP_S * clip.rate_hz)
    whole = clip.samples[: clip.n_frames // hop * hop]
    hops = whole.reshape(-1, hop * whole.shape[1])
    power = np.einsum("ij,ij->i", hops, hops).astype(np.float64) / hops.shape[1]
    if len(power) <= _SLOW_HOPS:
        return None
    slow = np.convolve(power, np.full(_SLOW_HOPS, 1 / _SLOW_HOPS), mode="same")
    top = float(np.percentile(slow, _TOP_PERCENT))
    sounds = np.flatnonzero(power > top * _ratio(_SOUND_DB))
    if top <= 0.0 or not len(sounds):
        return None
    sound_end = int(sounds[-1]) + 1
    first = _last_above(slow, top * _ratio(_BACK_DB)) + 1
    is_low = slow[first:sound_end] < top * _ratio(AWAY_DB)
    left = np.arange(len(is_low), 0, -1)
    share = np.cumsum(is_low[::-1])[::-1] / left
    away = np.flatnonzero(is_low & (share >= 1 - _MOST_BACK_SHARE))
    away_hop = first + int(away[0]) if len(away) else sound_end
    sinks = min(_last_above(slow, top * _ratio(_FALLS_DB)) + 1, away_hop)
    return DiedAway(
        sinks_s=sinks * _HOP_S,
        away_s=away_hop * _HOP_S,
        last_sound_s=sound_end * _HOP_S,
    )


def _ratio(below_db: float) -> float:
    return float(10.0 ** (-below_db / 10.0))


def _last_above(values: Floats, least: float) -> int:
    above = np.flatnonzero(values > least)
    return int(above[-1]) if len(above) else -1
