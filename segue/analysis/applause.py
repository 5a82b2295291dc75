"""Applause at the outer end of a song, and the song without it.

Many hands make noise: no tones, hardly any bass, and no gaps. Music before or after it has at
least one of these, a drum loop gaps, a cymbal that rings falls at once. What sounds like
applause to this ear, such as waves or a hiss, is no more part of the song's last bars.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import fft, ndimage

from segue.analysis.chroma import ANALYSIS_RATE_HZ, analysis_sound
from segue.analysis.envelope import level_db
from segue.audio.clip import Clip, SongEdge

if TYPE_CHECKING:
    from segue.arrays import Flags, Floats, Floats32


# All numbers below chosen on a rendered and a made-up applause, and on rendered edges without.
_WINDOW_FRAMES: Final = 4096  # frames of a spectrum, at the analysis rate
_HOP_S: Final = 0.1  # seconds from one look to the next
_BANDS_HZ: Final = (400.0, 4000.0, 10)
"""From, to, and how many bands: flatness is asked within each, whatever the colour."""
_LEAST_FLATNESS: Final = 0.45
"""Noise has exp(-0.577) = 0.56, the mean over the logarithm of its periodogram."""
_BASS_HZ: Final = (40.0, 250.0)  # from and to: what counts as bass
_MOST_BASS_SHARE: Final = 0.15  # of the power: applause has less bass
_FINE_S: Final = 0.02  # seconds a level is taken over, to find gaps
_MOST_SPREAD_DB: Final = 14.0  # between the 10 % and 90 % quantiles of fine levels: more means gaps
_HEARD_DB: Final = 45.0  # what is this far below the loudest hop is silence
_SMOOTH_HOPS: Final = 7  # hops of the median over flatness, bass and spread
_LEAST_S: Final = 1.5  # seconds of noise without gaps that applause has at least
_LEAST_MUSIC_S: Final = 2.0  # seconds that must be left as music
_MOST_FALL_DB: Final = 6.0  # from its first second on: what falls by more is a cymbal
_FADE_S: Final = 0.01  # seconds of the fade to silence, and step of the search for the border
_SET_IN_BEFORE_S: Final = 0.5  # seconds before the border in which the band is looked for
_SET_IN_AFTER_S: Final = 0.6  # seconds after the border in which the band is looked for
_STAYS_S: Final = 0.2  # seconds on either side whose power is compared where the band sets in


def applause_s(edge: SongEdge) -> float | None:
    """Where applause starts at the end of a song, or ends at its start.

    Returns
    -------
    float or None
        Seconds from the start of the file; None where there is none, or nothing else.
    """
    mix = edge.mix
    is_end = edge.edge == "end"
    sound = analysis_sound(mix)
    fine_db = level_db(mix.samples, mix.rate_hz, hop_s=_FINE_S)
    if not is_end:  # from here on the applause is always at the end
        sound, fine_db = sound[::-1], fine_db[::-1]
    is_noise, is_dense, level = _noise_hops(sound, fine_db)
    heard = np.flatnonzero(level > level.max(initial=-np.inf) - _HEARD_DB)
    if len(heard) == 0:
        return None
    last = int(heard[-1]) + 1
    others = np.flatnonzero(~is_noise[:last])
    first = int(others[-1]) + 1 if len(others) else 0
    run_db = level[first:last]
    second = round(1.0 / _HOP_S)
    if is_dense[first:last].sum() * _HOP_S < _LEAST_S or first * _HOP_S < _LEAST_MUSIC_S:
        return None
    if run_db[second:].max() < run_db[:second].max() - _MOST_FALL_DB:
        return None
    border_s = first * _HOP_S
    if not is_end:
        border_s = _set_in_s(mix, mix.duration_s - border_s)
    return edge.start_s + border_s


def silenced(edge: SongEdge, border_s: float, *, fade_s: float = _FADE_S) -> SongEdge:
    """The edge with silence in place of its applause, or of a murmur.

    Parameters
    ----------
    border_s : float
        Seconds of the file beyond which, outwards, nothing is left, as `applause_s` finds it.
    fade_s : float
        How long the fade to silence takes.
    """
    times_s = edge.start_s + np.arange(edge.mix.n_frames) / edge.rate_hz
    past_s = times_s - border_s if edge.edge == "end" else border_s - times_s
    gain = np.clip(1.0 - past_s / fade_s, 0.0, 1.0).astype(np.float32)[:, np.newaxis]
    stems = tuple(
        replace(
            stem,
            clip=Clip(
                samples=stem.clip.samples * gain,
                rate_hz=stem.clip.rate_hz,
                start_s=stem.clip.start_s,
            ),
        )
        for stem in edge.stems
    )
    return replace(edge, stems=stems)


def _set_in_s(mix: Clip, near_s: float) -> float:
    """Just before the band sets in near a time: where the level rises by most and stays up."""
    from_s = max(near_s - _SET_IN_BEFORE_S, 0.0)
    rows = slice(int(from_s * mix.rate_hz), int((near_s + _SET_IN_AFTER_S) * mix.rate_hz))
    power = 10 ** (level_db(mix.samples[rows], mix.rate_hz, hop_s=_FADE_S) / 10)
    half = round(_STAYS_S / _FADE_S)
    if len(power) <= 2 * half:
        return near_s
    sums = np.concatenate([[0.0], np.cumsum(power)])
    at = np.arange(half, len(power) - half)
    rise = (sums[at + half] - sums[at]) / (sums[at] - sums[at - half] + 1e-16)
    return from_s + (float(at[np.argmax(rise)]) - 1.0) * _FADE_S


def _noise_hops(sound: Floats32, fine_db: Floats) -> tuple[Flags, Flags, Floats]:
    """Which hops of `_HOP_S` are noise, which are without gaps, and their level."""
    hop = round(_HOP_S * ANALYSIS_RATE_HZ)
    half = _WINDOW_FRAMES // 2
    framed = np.lib.stride_tricks.sliding_window_view(np.pad(sound, half), _WINDOW_FRAMES)[::hop]
    window = np.hanning(_WINDOW_FRAMES + 1)[:-1].astype(np.float32)
    power = np.square(np.abs(fft.rfft(framed * window, axis=1)))
    hz = fft.rfftfreq(_WINDOW_FRAMES, 1.0 / ANALYSIS_RATE_HZ)
    whole = power.sum(axis=1) + 1e-20
    bass = power[:, (hz >= _BASS_HZ[0]) & (hz < _BASS_HZ[1])].sum(axis=1)
    is_noise = _smoothed(_flatness(power, hz)) > _LEAST_FLATNESS
    is_noise &= _smoothed(bass / whole) < _MOST_BASS_SHARE
    per_hop = round(_HOP_S / _FINE_S)
    n_hops = min(len(fine_db) // per_hop, len(is_noise))
    by_hop = fine_db[: n_hops * per_hop].reshape(n_hops, per_hop)
    reach = _SMOOTH_HOPS * per_hop
    high = ndimage.percentile_filter(fine_db, 90, size=reach, mode="nearest")
    low = ndimage.percentile_filter(fine_db, 10, size=reach, mode="nearest")
    spread = (high - low)[: n_hops * per_hop : per_hop]
    is_dense = _smoothed(spread) < _MOST_SPREAD_DB
    return is_noise[:n_hops], is_dense, by_hop.max(axis=1, initial=-np.inf)


def _smoothed(values: Floats) -> Floats:
    """Median over `_SMOOTH_HOPS`."""
    return np.asarray(ndimage.median_filter(values, size=_SMOOTH_HOPS, mode="nearest"))


def _flatness(power: Floats32, hz: Floats) -> Floats:
    """Geometric over arithmetic mean of the power, the mean over bands, hop by hop."""
    edges_hz = np.geomspace(_BANDS_HZ[0], _BANDS_HZ[1], int(_BANDS_HZ[2]) + 1)
    flat = np.zeros(len(power))
    for low_hz, high_hz in pairwise(edges_hz):
        band = power[:, (hz >= low_hz) & (hz < high_hz)].astype(np.float64) + 1e-20
        flat += np.exp(np.log(band).mean(axis=1)) / band.mean(axis=1)
    return flat / (len(edges_hz) - 1)
