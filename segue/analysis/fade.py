"""Whether an edge is faded out, or in.

A fader multiplies everything: every band falls by the same decibels, the band plays on under
it, and the level follows one smooth curve. An outro falls in a step and changes its spectrum;
a chord that rings loses its treble first, and no note changes in it any more.

All limits were chosen on one half of the labelled endings of the edges benchmark, of real songs as
they end and of the same songs under a fader of known law; it reports on the other half.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import HOP_S, body_level_db, mono_of, smoothed_db
from segue.analysis.last_chord import semitones
from segue.audio.adapters import mono_at_rate
from segue.audio.clip import Clip

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32


STARTS_DB: Final = -3.0
"""A fade has begun where it has taken this much of the body for good."""
_HEARD_DB: Final = -30.0  # re the body: below it a fall is followed no more
_WINDOW_S: Final = 2.0  # seconds that the level is smoothed over
_USUAL_S: Final = 10.0  # seconds before the fall that tell how the band usually sounds
# edges of the four bands that are compared
_BAND_EDGES_HZ: Final = (30.0, 150.0, 600.0, 2400.0, 8000.0)
_BANDS_AT_DB: Final = -15.0  # re the body: the bands are compared once the level has fallen to this
_BAND_HEARD_DB: Final = 25.0  # bands so far below the loudest are not compared
_LEAST_S: Final = 2.5  # seconds that a fade lasts at least
_LEAST_SOFT_S: Final = 3.0  # the same where few hits speak for a band that plays on
_LEAST_FALL_DB: Final = 10.0  # a fade falls by this at least
_LEAST_FIT: Final = 0.90  # share of the variance that a fader's law explains at least
_MOST_BAND_SPREAD_DB: Final = 9.0  # most by which the bands may fall differently
_MOST_SOFT_SPREAD_DB: Final = 6.0  # the same where few hits speak for a band that plays on
_MOST_STEP: Final = 0.95  # largest part of the fall within a second
_MOST_SOFT_STEP: Final = 0.72  # the same where few hits speak for a band that plays on
_LEAST_HITS: Final = 0.35  # hits a second in the fall, as a share of those before it
_LEAST_REACH: Final = 0.6  # share of the fall's length in which there are hits
_LEAST_CHANGE: Final = 0.55  # how fast the spectrum changes in the fall, as a share of before
_LEAST_SOFT_CHANGE: Final = 0.8  # the same where few hits speak for a band that plays on
_FALL_OF_STEP_DB: Final = 20.0  # the step is taken as a part of so much of the fall
# how far a fader straight in amplitude has gone, as a share, where the fall ends
_FADER_LAWS: Final = (0.7, 0.8, 0.9, 0.95, 0.99)
_FLAT_DB: Final = 0.01  # deviation below which a level does not fall at all
_STEP_S: Final = 0.05  # seconds from spectrum to spectrum
_RATE_HZ: Final = 12_000  # rate of the sound in which the spectrum's change is heard
_LONG_FRAMES: Final = 2048  # frames of a spectrum at that rate, 0.17 s
_LAG_STEPS: Final = 6  # steps between the spectra that are compared, 0.3 s
_COMPARED_MIDI: Final = (45, 100)  # MIDI notes from and up to which semitones are compared


@dataclass(frozen=True, slots=True, kw_only=True)
class Decline:
    """The last fall of the level, and what speaks for a fader in it.

    Parameters
    ----------
    start_s, end_s : float
        From where the level is last 3 dB below the body to where it is 30 dB below, in seconds
        from the start of the clip.
    fallen_db : float
        How far it falls.
    fit : float
        Share of the variance of the level that one of some fader laws explains, 0..1.
    step : float
        The largest part of the fall, to 20 dB, that comes within a second.
    band_spread_db : float
        Standard deviation over four bands of how far each has fallen, 15 dB down.
    hits_ratio : float
        Hits a second, against those before.
    hits_reach : float
        How far into the fall there are hits, 0..1.
    change_ratio : float
        How fast the spectrum changes, against before: near 1 where the band plays on.
    """

    start_s: float
    end_s: float
    fallen_db: float
    fit: float
    step: float
    band_spread_db: float = 0.0
    hits_ratio: float = 0.0
    hits_reach: float = 0.0
    change_ratio: float = 0.0

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.end_s - self.start_s

    @property
    def is_smooth(self) -> bool:
        """Whether its level alone could be that of a fade."""
        return (
            self.length_s >= _LEAST_S
            and self.fallen_db >= _LEAST_FALL_DB
            and self.fit >= _LEAST_FIT
            and self.step <= _MOST_STEP
        )

    @property
    def is_fade(self) -> bool:
        """Whether the band plays on under a fader."""
        if not self.is_smooth or self.band_spread_db > _MOST_BAND_SPREAD_DB:
            return False
        if self.hits_ratio >= _LEAST_HITS and self.hits_reach >= _LEAST_REACH:
            return self.change_ratio >= _LEAST_CHANGE
        return (
            self.change_ratio >= _LEAST_SOFT_CHANGE
            and self.step <= _MOST_SOFT_STEP
            and self.band_spread_db <= _MOST_SOFT_SPREAD_DB
            and self.length_s >= _LEAST_SOFT_S
        )

    @property
    def confidence(self) -> float:
        """How sure the verdict is, 0.5 to 1: from how far the nearest limit is."""
        margins = (
            self.fit - _LEAST_FIT,
            (_MOST_STEP - self.step) / 2,
            (self.change_ratio - _LEAST_CHANGE) / 4,
            (_MOST_BAND_SPREAD_DB - self.band_spread_db) / 100,
        )
        nearest = min(margins) if self.is_fade else -min(margins)
        return float(1.0 / (1.0 + np.exp(-60.0 * max(nearest, 0.005))))


def last_decline(clip: Clip, levels_db: Floats, body_db: float, hits_s: Floats) -> Decline:
    """The last fall of an edge.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        Its level hop by hop.
    body_db : float
        Level of its body.
    hits_s : ndarray, shape (n,)
        Its hits, in seconds from its start.
    """
    slow_db = smoothed_db(levels_db, round(_WINDOW_S / HOP_S)) - body_db
    first, last = _last_above(slow_db, STARTS_DB), _last_above(slow_db, _HEARD_DB)
    last = max(last, first)
    fall = slow_db[first : last + 1]
    shape = Decline(
        start_s=first * HOP_S,
        end_s=last * HOP_S,
        fallen_db=float(fall[0] - fall[-round(0.5 / HOP_S) :].mean()),
        fit=_fit(fall),
        step=_step(fall),
    )
    if not shape.is_smooth:
        return shape
    at_15 = first + int(np.argmax(fall <= _BANDS_AT_DB)) if fall.min() <= _BANDS_AT_DB else last
    sound = _thinned(clip, max(shape.start_s - _USUAL_S, 0.0), shape.end_s)
    before_s = min(shape.start_s, _USUAL_S)
    usual, during = _hits_a_second(hits_s, shape)
    return Decline(
        start_s=shape.start_s,
        end_s=shape.end_s,
        fallen_db=shape.fallen_db,
        fit=shape.fit,
        step=shape.step,
        band_spread_db=_band_spread_db(clip, shape.start_s, at_15 * HOP_S),
        hits_ratio=during / max(usual, 0.05),
        hits_reach=_reach(hits_s, shape),
        change_ratio=_change_ratio(sound, before_s),
    )


def faded_in_s(clip: Clip, levels_db: Floats, hits_s: Floats) -> float | None:
    """When a clip that begins under a fader has come up to 3 dB below its body; None for others.

    Heard backwards, it is a song that fades out.

    Parameters
    ----------
    levels_db : ndarray, shape (n_hops,)
        Its level hop by hop.
    hits_s : ndarray, shape (n,)
        Its hits, in seconds from its start.
    """
    if not len(levels_db):
        return None
    body_db = body_level_db(levels_db)
    if np.median(levels_db[: round(_FIRST_S / HOP_S)]) > body_db - _LEAST_FALL_DB:
        return None  # full at once, as most are
    backwards = Clip(samples=clip.samples[::-1], rate_hz=clip.rate_hz)
    decline = last_decline(backwards, levels_db[::-1], body_db, (clip.duration_s - hits_s)[::-1])
    return clip.duration_s - decline.start_s if decline.is_fade else None


_FIRST_S: Final = 1.0  # of a song that fades in lies as far below its body as a fade falls


def _last_above(levels_db: Floats, threshold_db: float) -> int:
    above = np.flatnonzero(levels_db >= threshold_db)
    return int(above[-1]) if len(above) else 0


def _fit(fall_db: Floats) -> float:
    """Best share of variance explained by a fader that is straight in decibels or amplitude."""
    if len(fall_db) < round(1.0 / HOP_S):
        return 0.0
    way = np.arange(len(fall_db)) / len(fall_db)
    laws = [way, *(np.log10(1.0 - way * reach) for reach in _FADER_LAWS)]
    if float(fall_db.std()) < _FLAT_DB:
        return 0.0
    return max(float(np.corrcoef(law, fall_db)[0, 1] ** 2) for law in laws)


def _step(fall_db: Floats) -> float:
    """The largest part of the fall within a second."""
    n_second = round(1.0 / HOP_S)
    low = np.flatnonzero(fall_db <= -_FALL_OF_STEP_DB)
    whole_db = float(fall_db[0] - fall_db[low[0] if len(low) else -1])
    if len(fall_db) <= n_second or whole_db <= 0.0:
        return np.inf
    return float((fall_db[:-n_second] - fall_db[n_second:]).max()) / whole_db


def _hits_a_second(hits_s: Floats, fall: Decline) -> tuple[float, float]:
    """Hits a second before the fall, and in it."""
    before_s = min(fall.start_s, _USUAL_S)
    n_before = np.count_nonzero((hits_s > fall.start_s - before_s) & (hits_s <= fall.start_s))
    n_during = np.count_nonzero((hits_s > fall.start_s) & (hits_s <= fall.end_s))
    return n_before / max(before_s, 0.1), n_during / max(fall.length_s, 0.1)


def _reach(hits_s: Floats, fall: Decline) -> float:
    inside = hits_s[hits_s <= fall.end_s + 0.1]
    return float(inside[-1] - fall.start_s) / fall.length_s if len(inside) else 0.0


def _band_spread_db(clip: Clip, start_s: float, at_s: float) -> float:
    """How differently four bands have fallen from before the fall to a moment in it."""
    from scipy import fft

    def levels_db(from_s: float, to_s: float) -> Floats:
        n_fft = 1 << int(np.ceil(np.log2(0.04 * clip.rate_hz)))
        piece = mono_of(
            clip.samples[int(max(from_s, 0.0) * clip.rate_hz) :][
                : int((to_s - max(from_s, 0.0)) * clip.rate_hz) + n_fft
            ]
        )
        windows = np.lib.stride_tricks.sliding_window_view(piece, n_fft)[:: n_fft // 2]
        power = np.abs(fft.rfft(windows * np.hanning(n_fft).astype(np.float32), axis=1)) ** 2
        hertz = fft.rfftfreq(n_fft, 1.0 / clip.rate_hz)
        edges = np.searchsorted(hertz, _BAND_EDGES_HZ)
        bands = np.add.reduceat(power[:, : edges[-1]], edges[:-1], axis=1)
        return np.asarray(10.0 * np.log10(np.maximum(bands.mean(axis=0), 1e-12)))

    half_s = 0.5 * _WINDOW_S
    before, later = levels_db(start_s - _USUAL_S, start_s), levels_db(at_s - half_s, at_s + half_s)
    heard = before > before.max() - _BAND_HEARD_DB
    return float((before - later)[heard].std())


def _thinned(clip: Clip, start_s: float, end_s: float) -> Floats32:
    """A stretch of a clip in one channel at `_RATE_HZ`."""
    piece = mono_of(clip.samples[int(start_s * clip.rate_hz) : int(end_s * clip.rate_hz)])
    return mono_at_rate(piece, from_hz=clip.rate_hz, to_hz=_RATE_HZ, quality="LQ")


def _change_ratio(sound: Floats32, before_s: float) -> float:
    """How fast the shape of the spectrum changes after a moment, against before it."""
    if len(sound) < 2 * _LONG_FRAMES:
        return 0.0
    hop = round(_STEP_S * _RATE_HZ)
    shape = np.sqrt(semitones(sound, _RATE_HZ, window=_LONG_FRAMES, hop=hop, midi=_COMPARED_MIDI))
    shape -= shape.mean(axis=1, keepdims=True)
    shape /= np.maximum(np.linalg.norm(shape, axis=1, keepdims=True), 1e-9)
    change = 1.0 - (shape[_LAG_STEPS:] * shape[:-_LAG_STEPS]).sum(axis=1)
    # a window that touches the border tells of both sides
    border, reach = round(before_s / _STEP_S), _LAG_STEPS
    before, after = change[: max(border - reach, 1)], change[border:]
    if len(after) == 0:
        return 0.0
    return float(after.mean() / max(float(before.mean()), 1e-6))
