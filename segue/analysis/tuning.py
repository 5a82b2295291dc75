"""How far a song is above A4 = 440 Hz.

Every spectral peak tells its frequency through the reassignment of its bin
[AF95]_; what is the third, fifth or seventh partial of a lower peak is left out,
since those partials are no equal-tempered notes. The tuning is where the peaks
crowd together modulo a semitone.

Whether anything of a key can be heard in a sound: notes hold their pitch, noise does not.

Any sound has spectral peaks, and the peaks of drums or speech add up to some key as well. Those
of notes stay where they are for longer than a window, or come back; how much more often
they do so than chance would have it tells music that has a key from what has none.

References
----------
.. [AF95] F. Auger and P. Flandrin, "Improving the readability of
   time-frequency and time-scale representations by the reassignment method",
   IEEE Transactions on Signal Processing 43(5), 1995, 1068-1089.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from segue.analysis.chroma import ANALYSIS_RATE_HZ, analysis_sound

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Floats32
    from segue.audio.clip import Clip, Role, SongEdge


_LAGS_HOPS: Final = (2, 3)
"""0.7 and 1 s: two, since a drum loop comes back too, but hardly at both."""
# cents: peaks nearer than this are at one pitch; by judgement
_PITCHEDNESS_SAME_CENTS: Final = 10.0
_ELSEWHERE_CENTS: Final = 37.0
"""Off any note by this, a peak is met by chance alone."""
_AS_STRONG: Final = 0.2  # share of a peak's strength that the one met must have; by judgement
_AXIS_CENTS: Final = 20_000.0  # cents from hop to hop on one axis: above any pitch
_NOISE, _NOTES = 0.05, 0.11
"""Chosen on the 42 first edges of the ears benchmark's seed 1, which have 0.13 or more, and on
speech, applause and drum loops, rendered and made up, which have 0.09 at most."""


def pitched_share(peaks: SpectralPeaks) -> float:
    """How far an edge is music with pitches, 0 (noise, speech, drums) to 1.

    Parameters
    ----------
    peaks : SpectralPeaks
        Of its `segue.analysis.tuning.pitched_peaks`.

    Returns
    -------
    float
        0..1. Where the edge is too short to tell, 1: then nothing speaks against.
    """
    share = held_share(peaks)
    if share is None:
        return 1.0
    return float(np.clip((share - _NOISE) / (_NOTES - _NOISE), 0.0, 1.0))


def held_share(peaks: SpectralPeaks) -> float | None:
    """Share of peaks that are met again at their own pitch, less those at any other.

    The least of some distances in time; None where the sound is shorter than the longest.
    """
    weights = peaks.amplitudes * np.minimum(peaks.hertz / _SETTLED_HZ, 1.0)
    total = float(weights.sum())
    if not total > 0:
        return 0.0
    if peaks.hops[-1] - peaks.hops[0] <= _LAGS_HOPS[-1]:
        return None
    place = peaks.hops * _AXIS_CENTS + peaks.cents  # one axis for all hops, far apart
    shares = []
    for lag in _LAGS_HOPS:
        ahead = lag * _AXIS_CENTS
        by_chance = _met(place, weights, ahead + _ELSEWHERE_CENTS)
        shares.append(_met(place, weights, ahead) - by_chance)
    return min(shares) / total


def _met(place: Floats, weights: Floats, ahead: float) -> float:
    """Weight of the peaks that have another one so far ahead, about as strong."""
    order = np.argsort(place)
    known, strong = place[order], weights[order]
    wanted = place + ahead
    above = np.clip(np.searchsorted(known, wanted), 1, len(known) - 1)
    is_below = np.abs(known[above - 1] - wanted) < np.abs(known[above] - wanted)
    nearest = np.where(is_below, above - 1, above)
    is_met = np.abs(known[nearest] - wanted) < _PITCHEDNESS_SAME_CENTS
    is_met &= strong[nearest] > _AS_STRONG * weights
    return float(weights[is_met].sum())


PITCHED_ROLES: Final[tuple[Role, ...]] = (
    "mix", "bass", "keys", "guitar", "synth", "voice", "lead", "other",
)  # fmt: skip
_WINDOW_FRAMES: Final = 8192  # frames of a spectrum at the analysis rate, 0.68 s; by judgement
_HOP_FRAMES: Final = 4096  # frames from spectrum to spectrum, 0.34 s; by judgement
_HIGHEST_HZ: Final = 2200.0  # peaks above this are not used; by judgement
_SETTLED_HZ: Final = 300.0
"""Below, basses and low strings are often flat of the rest and count ever less."""
_PEAK_SHARE: Final = 0.03
"""Peaks below this share of the strongest of their hop are left out."""
_CROWD_CENTS: Final = 8.0
"""Width of the bell that finds the crowd."""
_CORE_CENTS: Final = 14.0
"""Peaks this near to the crowd are averaged."""
_N_ROUNDS: Final = 6  # rounds in which the middle of the crowd is averaged anew; by judgement
_N_PARTS: Final = 3  # parts in time whose tunings are compared; by judgement
_SAME_SUM_CENTS: Final = 0.01  # sums of distances this near are one sum: far above rounding
_MIDDLE_HZ: Final = 500.0  # parts below and above this are compared; by judgement
_LEAST_PART: Final = 0.05
"""A part with less of the weight than this has no say."""
_SAME_CENTS: Final = 20.0
"""A peak this near to a partial's place is that partial."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpectralPeaks:
    """Peaks of a spectrum over time.

    Parameters
    ----------
    hops : ndarray, shape (n,)
        Number of the hop of each, ascending; windows of hops two apart do not overlap.
    cents : ndarray, shape (n,)
        Pitch; A4 = 440 Hz is 0.
    amplitudes : ndarray, shape (n,)
        0 where a peak is none after all.
    """

    hops: npt.NDArray[np.intp]
    cents: Floats
    amplitudes: Floats

    @property
    def hertz(self) -> Floats:
        """Pitch in hertz."""
        return np.asarray(440.0 * 2 ** (self.cents / 1200.0))


def pitched_peaks(edge: SongEdge) -> SpectralPeaks:
    """The peaks of an edge without its drums; none where there is nothing else."""
    clip = edge.sum_of(*PITCHED_ROLES)
    if clip is None:
        return SpectralPeaks(
            hops=np.empty(0, dtype=np.intp), cents=np.empty(0), amplitudes=np.empty(0)
        )
    return spectral_peaks(analysis_sound(clip))


def tuning_of(clip: Clip) -> float:
    """Tuning of a clip in cents above A4 = 440 Hz, -50 to 50; 0 where nothing is pitched."""
    peaks = spectral_peaks(analysis_sound(clip))
    weights = _weights(peaks)
    return _crowd_middle(peaks.cents, weights) if weights.sum() > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningFact:
    """A tuning and how far it can be trusted.

    Parameters
    ----------
    cents : float
        Above A4 = 440 Hz, -50 to 50.
    spread_cents : float
        How far the estimates of the parts of an edge lie from it in the median.
    """

    cents: float
    spread_cents: float


def settled_tuning(peaks: SpectralPeaks) -> TuningFact:
    """The tuning that the parts of an edge agree on best.

    One instrument that is off, or a few loud partials, can carry the whole away. So it is
    estimated of the whole, of each third in time, and of what is below and above `_MIDDLE_HZ`;
    taken is the estimate from which the others are least far.

    Parameters
    ----------
    peaks : SpectralPeaks
        Of an edge.
    """
    if not peaks.amplitudes.sum() > 0:
        return TuningFact(cents=0.0, spread_cents=0.0)
    thirds = np.linspace(0, int(peaks.hops[-1]) + 1, _N_PARTS + 1)
    masks = [np.ones(len(peaks.hops), dtype=bool)]
    masks += [(peaks.hops >= first) & (peaks.hops < last) for first, last in pairwise(thirds)]
    masks += [peaks.hertz < _MIDDLE_HZ, peaks.hertz >= _MIDDLE_HZ]
    weights = _weights(peaks)
    least = _LEAST_PART * float(weights.sum())
    found = np.array(
        [
            _crowd_middle(peaks.cents[mask], weights[mask])
            for mask in masks
            if float(weights[mask].sum()) > least
        ]
    )
    return agreed_tuning(found) if len(found) else TuningFact(cents=0.0, spread_cents=0.0)


def agreed_tuning(estimates_cents: Floats) -> TuningFact:
    """The one of several estimates from which the others are least far.

    Of an even number the two in the middle are equally far from the others, and which of them
    is less so would be up to rounding, which is another on another processor: the one nearer
    to the first is taken.

    Parameters
    ----------
    estimates_cents : ndarray, shape (n,)
        Modulo a semitone, that of the whole first; one at least.
    """
    apart = np.abs(_wrapped(estimates_cents[:, None] - estimates_cents))
    far = apart.sum(axis=1)
    middles = np.flatnonzero(far <= far.min() + _SAME_SUM_CENTS)
    best = middles[np.argmin(apart[0, middles])]
    others = np.delete(apart[best], best)
    return TuningFact(
        cents=float(estimates_cents[best]),
        spread_cents=float(np.median(others)) if len(others) else 0.0,
    )


def _crowd_middle(cents: Floats, weights: Floats) -> float:
    """Where the most weight crowds, modulo a semitone."""
    middle = _crowded_cents(cents, weights)
    for _ in range(_N_ROUNDS):
        offset = _wrapped(cents - middle)
        share = weights * np.maximum(0.0, 1.0 - (offset / _CORE_CENTS) ** 2) ** 2
        middle += float(share @ offset / share.sum())
    return float(_wrapped(np.array(middle)))


def _crowded_cents(cents: Floats, weights: Floats) -> float:
    """The whole cent modulo a semitone around which most weight lies."""
    counts = np.bincount(np.rint(cents).astype(int) % 100, weights, minlength=100)
    grid = np.arange(-50.0, 50.0)
    crowd = _bell(_wrapped(grid[:, None] - np.arange(100.0)) / _CROWD_CENTS) @ counts
    return float(grid[int(np.argmax(crowd))])


def _weights(peaks: SpectralPeaks) -> Floats:
    """Weight of every peak in the tuning."""
    weights: Floats = peaks.amplitudes * np.minimum(peaks.hertz / _SETTLED_HZ, 1.0) ** 4
    weights *= ~_is_odd_partial(peaks.hops, peaks.cents, weights)
    return weights


def spectral_peaks(sound: Floats32) -> SpectralPeaks:
    """The peaks of a sound's spectrum up to 2.2 kHz, each at its reassigned frequency.

    Parameters
    ----------
    sound : ndarray, shape (n_frames,)
        At `ANALYSIS_RATE_HZ`.
    """
    from scipy import fft

    padded = np.pad(sound, (0, max(0, _WINDOW_FRAMES - len(sound))))
    framed = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW_FRAMES)[::_HOP_FRAMES]
    window, slope = _window_and_slope()
    top = int(_HIGHEST_HZ * _WINDOW_FRAMES / ANALYSIS_RATE_HZ)
    plain = fft.rfft(framed * window, axis=1)[:, :top]
    steep = fft.rfft(framed * slope, axis=1)[:, :top]
    magnitude = np.abs(plain)
    loudest = magnitude.max(axis=1, keepdims=True)
    inner = magnitude[:, 1:-1]
    is_peak = np.zeros(magnitude.shape, dtype=bool)
    is_peak[:, 1:-1] = (inner > magnitude[:, :-2]) & (inner >= magnitude[:, 2:])
    is_peak &= magnitude > _PEAK_SHARE * loudest
    hops, bins = np.nonzero(is_peak)
    at = plain[hops, bins]
    shift = -np.imag(steep[hops, bins] / at) * _WINDOW_FRAMES / (2 * np.pi)
    hz = np.maximum((bins + shift) * ANALYSIS_RATE_HZ / _WINDOW_FRAMES, 1.0)
    return SpectralPeaks(
        hops=hops,
        cents=1200.0 * np.log2(hz / 440.0),
        amplitudes=(np.abs(at) * (np.abs(shift) < 1.0)).astype(np.float64),
    )


def _is_odd_partial(hops: npt.NDArray[np.intp], cents: Floats, weights: Floats) -> Flags:
    """Whether a peak is explained as partial 3, 5, 6 or 7 of a lower peak of its hop."""
    place = hops * 20_000.0 + cents  # one axis for all hops, far apart
    known = np.sort(place[weights > 0])
    explained = np.zeros(len(cents), dtype=bool)
    for partial in (3, 5, 6, 7):
        fundamental = place - 1200.0 * np.log2(partial)
        nearest = np.searchsorted(known, fundamental - _SAME_CENTS)
        found = known[np.minimum(nearest, len(known) - 1)] if len(known) else fundamental + 99.0
        explained |= np.abs(found - fundamental) <= _SAME_CENTS
    return explained


def _window_and_slope() -> tuple[Floats32, Floats32]:
    """A Hann window and its derivative by the frame."""
    phase = 2 * np.pi * (np.arange(_WINDOW_FRAMES) + 0.5) / _WINDOW_FRAMES
    window = 0.5 - 0.5 * np.cos(phase)
    slope = np.pi / _WINDOW_FRAMES * np.sin(phase)
    return window.astype(np.float32), slope.astype(np.float32)


def _wrapped(cents: Floats) -> Floats:
    """Cents modulo a semitone, -50 up to 50."""
    return (cents + 50.0) % 100.0 - 50.0


def _bell(x: Floats) -> Floats:
    return np.exp(-0.5 * x**2)
