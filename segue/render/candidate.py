"""A rendered segue: buses that line up to the frame, the music held below the true-peak ceiling.

The limiter takes at most `MOST_REDUCTION_DB` off; where more were needed, the
whole candidate is lowered first, so that its own dynamics stay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from segue.audio.adapters import run_board
from segue.audio.clip import Clip
from segue.audio.true_peak import true_peak_dbtp
from segue.plan.layer import DrumLayer, FrozenLayer, Layer, ReversedLayer, SongLayer

if TYPE_CHECKING:
    from segue.arrays import Floats32
    from segue.plan.plan import Plan
    from segue.render.layer_sound import LayerSound


CEILING_DBTP: Final = -1.0
"""Highest true peak allowed (EBU R 128)."""
MOST_REDUCTION_DB: Final = 1.0  # more would be heard as pumping; by judgement
METERS_DIFFER_DB: Final = 0.4
"""Of sound that reaches to the very top of the band, true-peak meters read up to so much apart:
interpolators of 16 points a frame, and one of the whole spectrum; measured. Kept free."""
_LIMITER_CEILING_DB: Final = CEILING_DBTP - METERS_DIFFER_DB - 0.2
"""The limiter looks at 4 points a frame and lets up to 0.2 dB through; measured."""
_OVERSAMPLING: Final = 16  # times; BS.1770 asks for 4, finer meters find a little more
_JUST_BELOW_DB: Final = 0.01  # so much below the ceiling, for rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Master:
    """Sound below the ceiling, and what it took.

    Parameters
    ----------
    lowered_db : float
        How much the whole was lowered before the limiter; 0 or more.
    """

    music: Clip
    lowered_db: float


def master(total: Floats32, rate_hz: int) -> Master:
    """The sum of all sides with its true peak at most -1 dBTP.

    Parameters
    ----------
    total : ndarray, shape (n_frames, 2), float32

    Returns
    -------
    Master
        The sum bit for bit where it was below the ceiling anyway, by any meter.
    """
    music = Clip(samples=total, rate_hz=rate_hz)
    over_db = _over_db(music)
    if over_db <= 0:
        return Master(music=music, lowered_db=0.0)
    limiter_lower_db = CEILING_DBTP - METERS_DIFFER_DB - _LIMITER_CEILING_DB
    lowered_db = max(over_db - MOST_REDUCTION_DB + limiter_lower_db, 0.0)
    music = Clip(samples=total * np.float32(_factor(-lowered_db)), rate_hz=rate_hz)
    return Master(music=_trimmed(_limited(music)), lowered_db=lowered_db)


def _limited(music: Clip) -> Clip:
    from pedalboard import BrickwallLimiter, Pedalboard

    return run_board(
        Pedalboard([BrickwallLimiter(ceiling_db=_LIMITER_CEILING_DB, true_peak=True)]), music
    )


def _trimmed(music: Clip) -> Clip:
    """The rest above the ceiling, at most a few tenths of a decibel, taken off the level."""
    over_db = _over_db(music)
    if over_db <= 0:
        return music
    samples = music.samples * np.float32(_factor(-over_db - _JUST_BELOW_DB))
    return Clip(samples=samples, rate_hz=music.rate_hz)


def _over_db(music: Clip) -> float:
    """How far the true peak is above where every meter reads it below the ceiling."""
    peak_dbtp = true_peak_dbtp(music, oversampling=_OVERSAMPLING)
    return peak_dbtp - (CEILING_DBTP - METERS_DIFFER_DB)


def _factor(gain_db: float) -> float:
    return float(10 ** (gain_db / 20))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A plan made audible.

    Parameters
    ----------
    music : Clip
        What the room hears. Stereo, true peak at most -1 dBTP.
    click, cue : Clip
        For in-ears only, mono, never in `music`; same rate and length.
    outgoing, interlude, incoming : Clip
        The sides of `music` before the limiter, at the same rate and length:
        what comes from the old song, what was made for the join, and what
        comes from the new song. Their sum is `music` but for the limiter.
    own_share : float
        Share of the power of `interlude` in the bridge that is cut out of the songs, 0 to 1: their
        drums, held and reversed moments.
    notes : tuple of str
        What the render could not do, as sentences.
    """

    plan: Plan
    music: Clip
    click: Clip
    cue: Clip
    outgoing: Clip
    interlude: Clip
    incoming: Clip
    own_share: float = 0.0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shapes = {
            (clip.n_frames, clip.rate_hz)
            for clip in (
                self.music,
                self.click,
                self.cue,
                self.outgoing,
                self.interlude,
                self.incoming,
            )
        }
        if len(shapes) > 1:
            raise ValueError(f"buses do not line up: {sorted(shapes)}")

    def without_sides(self) -> Candidate:
        """The same with silent sides, which take no memory: for whoever is done with scoring."""
        silence = np.broadcast_to(np.float32(0.0), self.click.samples.shape)
        silent = Clip(samples=silence, rate_hz=self.click.rate_hz)
        return replace(self, outgoing=silent, interlude=silent, incoming=silent)


class Makers(NamedTuple):
    """Power of a bus in the bridge, before its fader: of all, and of what is cut out of songs."""

    own: float = 0.0
    total: float = 0.0

    def with_layer(self, layer: Layer, made: LayerSound, plan: Plan, rate_hz: int) -> Makers:
        """The same and a layer; a song's own is on a bus of its side."""
        if isinstance(layer, SongLayer):
            return self
        power = power_between(made.samples, plan, rate_hz, made.first_frame)
        is_own = isinstance(layer, DrumLayer | FrozenLayer | ReversedLayer)
        return Makers(self.own + power * is_own, self.total + power)

    @property
    def own_share(self) -> float:
        """Share of the power that is cut out of songs."""
        return self.own / self.total if self.total > 0 else 0.0


def power_between(samples: Floats32, plan: Plan, rate_hz: int, first_frame: int = 0) -> float:
    """Summed power between leaving the old song and the new one's bar one."""
    begin, end = (
        max(round(plan.seconds_at(beat) * rate_hz) - first_frame, 0)
        for beat in (plan.exit_beat, plan.entry_beat)
    )
    part = samples[begin:end]
    return float(np.einsum("ij,ij->", part, part, dtype=np.float64))
