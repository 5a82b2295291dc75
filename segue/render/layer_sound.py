"""A layer frame by frame: the beat of every frame, curves laid out, its sound and its start."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from segue.audio.clip import VOICES, Clip, Role
from segue.audio.loudness import integrated_lufs, momentary_lufs

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.plan.layer import Curve, Layer
    from segue.plan.plan import Plan


SILENCE_DB: Final = -60.0
"""At most this is silence."""
_SILENCE_FROM_DB: Final = -48.0  # from here down a gain bends to exact silence; by judgement
_LOG_OF_A_DB: Final = np.log(10.0) / 20
_CORNER_S: Final = 0.005
"""Steps of gain take this long; set by judgement."""
_BEATS_EVERY_S: Final = 0.01  # seconds between points of the ruler, straight lines between them
WORTH_SAYING_S: Final = 0.05  # of a song: less that was not decoded is not told; by judgement
_BLOCK_FRAMES: Final = 1 << 15  # frames at once, to hold little memory; changes no sample


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ruler:
    """The beat of every frame of a plan, or of some of them.

    Worked out when it is asked for: kept, it would be as long as a side of the music.

    Parameters
    ----------
    knots, knot_beats : ndarray, shape (n_knots,)
        Frames of the plan, evenly apart, and the exact beat at each; straight between them.
    first_frame, last_frame : int
        First frame and the one after the last.
    """

    knots: Floats
    knot_beats: Floats
    first_frame: int
    last_frame: int
    rate_hz: int

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return self.last_frame - self.first_frame

    @property
    def beats(self) -> Floats:
        """The beat of every frame, shape (n_frames,)."""
        along = np.empty(self.n_frames)
        for begin in range(0, self.n_frames, _BLOCK_FRAMES):
            end = min(begin + _BLOCK_FRAMES, self.n_frames)
            frames = np.arange(self.first_frame + begin, self.first_frame + end)
            along[begin:end] = np.interp(frames, self.knots, self.knot_beats)
        return along

    def part(self, first_frame: int, last_frame: int) -> Ruler:
        """The ruler of some of the frames."""
        first, last, _ = slice(first_frame, last_frame).indices(self.n_frames)
        return replace(
            self,
            first_frame=self.first_frame + first,
            last_frame=self.first_frame + max(first, last),
        )


def ruler_of(plan: Plan, rate_hz: int) -> Ruler:
    """The beat of every frame, exact every 10 ms and straight between."""
    n_frames = int(np.ceil(plan.duration_s * rate_hz - 1e-6))
    step = max(round(_BEATS_EVERY_S * rate_hz), 1)
    knots = np.arange(0.0, n_frames + step, step)
    beats = np.asarray(plan.beats_at((knots / rate_hz).tolist()))
    return Ruler(knots=knots, knot_beats=beats, first_frame=0, last_frame=n_frames, rate_hz=rate_hz)


def gains_along(curve: Curve, ruler: Ruler) -> Floats:
    """Gain of every frame as a factor; 1 where the curve is empty.

    Parameters
    ----------
    curve : Curve
        In dB, straight in beats; at most -60 dB is silence, reached smoothly
        over the last 12 dB.

    Returns
    -------
    ndarray, shape (n_frames,)
    """
    if not curve:
        return np.ones(ruler.n_frames)
    level_db = np.interp(ruler.beats, [p.beat for p in curve], [p.value for p in curve])
    share = level_db - SILENCE_DB
    share /= _SILENCE_FROM_DB - SILENCE_DB
    np.clip(share, 0.0, 1.0, out=share)
    level_db *= _LOG_OF_A_DB
    gains: Floats = np.exp(level_db, out=level_db)
    gains *= share
    gains *= share
    share *= -2.0
    share += 3.0
    gains *= share
    return _rounded_corners(gains, round(_CORNER_S * ruler.rate_hz))


def amplified(sound: Floats32, factors: Floats) -> Floats32:
    """Every frame times its factor, (n_frames,) or one for each channel, (n_frames, 2)."""
    out = np.empty_like(sound)
    for begin in range(0, len(sound), _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        out[block] = sound[block] * factors[block].reshape(len(sound[block]), -1)
    return out


def cutoffs_along(curve: Curve, ruler: Ruler) -> Floats:
    """Cutoff of every frame in hertz, straight in log frequency between breakpoints."""
    log_hz = np.log([point.value for point in curve])
    along = np.interp(ruler.beats, [point.beat for point in curve], log_hz)
    cutoffs: Floats = np.exp(_rounded_corners(along, round(_CORNER_S * ruler.rate_hz)))
    return cutoffs


def values_along(curve: Curve, ruler: Ruler) -> Floats:
    """Value of every frame, straight in beats; 0 where the curve is empty, steps rounded."""
    if not curve:
        return np.zeros(ruler.n_frames)
    along = np.interp(ruler.beats, [p.beat for p in curve], [p.value for p in curve])
    return _rounded_corners(along, round(_CORNER_S * ruler.rate_hz))


def _rounded_corners(gains: Floats, n_frames: int) -> Floats:
    """Values with steps spread over some frames; others are left as they are."""
    if n_frames < 2 or len(gains) < 2:  # noqa: PLR2004
        return gains
    steps = np.diff(gains)
    if max(steps.max(), -steps.min()) * n_frames < 1.0:
        return gains
    from scipy import ndimage  # heavy, and most curves have no steps

    smooth: Floats = ndimage.uniform_filter1d(gains, n_frames, mode="nearest")
    return smooth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerSound:
    """A layer's sound; silence before and after.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, 2), float32
    first_frame : int
        Where it starts, in frames of the plan.
    """

    samples: Floats32
    first_frame: int = 0
    notes: tuple[str, ...] = ()

    def laid_out(self, n_frames: int) -> Floats32:
        """The sound in its place over a whole plan, (n_frames, 2)."""
        whole = np.zeros((n_frames, self.samples.shape[1]), dtype=np.float32)
        whole[self.first_frame : self.first_frame + len(self.samples)] = self.samples
        return whole


def frames_of(layer: Layer, plan: Plan, ruler: Ruler) -> tuple[int, int]:
    """First frame of a layer and the one after its last, both inside the plan."""
    start = round(plan.seconds_at(layer.start_beat) * ruler.rate_hz)
    end = round(plan.seconds_at(layer.end_beat) * ruler.rate_hz)
    return max(start, 0), min(end, ruler.n_frames)


def faded(samples: Floats32, rate_hz: int, *, in_s: float = 0.0, out_s: float = 0.0) -> Floats32:
    """Sound with raised-cosine fades at its two ends, in a new array.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    in_s, out_s : float
        Length of the fades, shortened to the sound where it is shorter.
    """
    sound = samples.copy()
    for fade_s, ends in ((in_s, sound), (out_s, sound[::-1])):
        length = min(round(fade_s * rate_hz), len(sound))
        fade = np.sin((np.arange(length) + 0.5) / max(length, 1) * np.pi / 2) ** 2
        ends[:length] = (ends[:length] * fade[:, None]).astype(np.float32)
    return sound


def at_loudness(samples: Floats32, level_lufs: float, rate_hz: int) -> Floats32:
    """Sound on the whole as loud as this (ITU-R BS.1770, gated); silence as it is."""
    return _levelled(samples, level_lufs, integrated_lufs(Clip(samples=samples, rate_hz=rate_hz)))


def at_peak_loudness(samples: Floats32, level_lufs: float, rate_hz: int) -> Floats32:
    """Sound whose loudest 0.4 s are as loud as this; silence as it is."""
    _, lufs = momentary_lufs(Clip(samples=samples, rate_hz=rate_hz))
    return _levelled(samples, level_lufs, float(lufs.max(initial=-np.inf)))


def _levelled(samples: Floats32, wanted_lufs: float, now_lufs: float) -> Floats32:
    if not (np.isfinite(wanted_lufs) and np.isfinite(now_lufs)):
        return samples
    return (samples * 10 ** ((wanted_lufs - now_lufs) / 20)).astype(np.float32)


def drums_of_mix(title: str) -> str:
    """What is to be said of drums that no stem gave."""
    return (
        f"The drums of {title} come out of its mix: other attacks may hang on to them. "
        "A drum stem is better."
    )


def drums_taken_out(title: str) -> str:
    """What is to be said of a mix without its drums."""
    return f"Drums are taken out of the mix of {title}: hard attacks go with them."


def singer_turned_down(title: str) -> str:
    """What is to be said of bars of a mix whose singer was told from what comes back."""
    return f"The singer is turned down in the bars of {title} that go round. Stems are better."


def mix_played_whole(name: str, roles: tuple[Role, ...], title: str) -> str:
    """What is to be said of a layer that is to play some stems of a song that has none.

    Told is the shorter: what it is meant to play, or what else is in it.
    """
    others = [role for role in get_args(Role) if role not in {*roles, *VOICES, "mix"}]
    if len(others) < len(roles):
        return f"{title} is one mix: '{name}' has its {' and '.join(others)} in it, too."
    return f"{title} is one mix: '{name}' plays all of it, not {' and '.join(roles)} alone."
