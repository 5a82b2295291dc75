"""A song's edge moved by whole semitones, in time as it was.

Each tonal part is stretched by the engine that leads along time maps and read
back at another speed (see `segue.render.stretch`); voices get their formants
back. Drums are not moved.

Vowels put back where they were after a pitch has been moved.

Reading a voice faster moves its formants with its pitch. Each short spectrum's
envelope is estimated by repeated cepstral smoothing that leans on the partials
[RR05]_ and the spectrum is given the envelope it had before. Only levels
change, smoothly over frequency, so attacks stay where they are.

References
----------
.. [RR05] A. Röbel and X. Rodet, "Efficient spectral envelope estimation and
   its application to pitch shifting and envelope preservation", DAFx 2005.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.adapters import resampled_frames
from segue.audio.clip import VOICES, Clip, SongEdge, Stem, excerpt
from segue.render.rubber import program_pitch, rubber_band
from segue.render.stretch import sound_at_speeds
from segue.render.time_map import TimeMap

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.arrays import Floats, Floats32
    from segue.plan.plan import StretchEngine

WINDOW_S: Final = 0.04  # of the envelopes, to the nearest power of two in frames; by judgement
SUNG_HZ: Final = (75.0, 700.0)
"""Pitches that are looked for, to know how far apart the partials under the envelope lie."""
_DETAIL_RATIOS: Final = (0.3, 0.6)
"""Detail of an envelope as a share of the pitch period: whole up to the first, none from the
second on; half a period is the theory [RR05]_, these leave the least error on vowels."""
_STEADY_HOPS: Final = 9  # a pitch period is the median of so many hops; by judgement
_ROUNDS: Final = 20  # times the envelope is drawn up towards the peaks; by judgement
_OVERLAP: Final = 4  # windows over each frame
_MOST_DB: Final = 20.0  # an envelope is moved by no more; by judgement
_BLOCK_HOPS: Final = 512  # windows at once, to hold little memory; changes no sample
_FLOOR_RATIO: Final = 1e-4  # magnitudes below this share of the peak have no formants; by judgement


def formants_restored(sound: Floats32, pitch_ratio: float, rate_hz: int) -> Floats32:
    """Sound whose pitch was moved, with its formants back where they were.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, n_channels), float32
    pitch_ratio : float
        How far it was moved: 2 is an octave up.

    Returns
    -------
    ndarray, shape (n_frames, n_channels), float32
    """
    window = 1 << round(np.log2(WINDOW_S * rate_hz))
    hop = window // _OVERLAP
    shape = np.hanning(window + 1)[:-1].astype(np.float32)  # squares add up to 1.5
    padded = np.zeros((len(sound) + 2 * window, sound.shape[1]), dtype=np.float32)
    padded[window : window + len(sound)] = sound
    out = np.zeros_like(padded)
    starts = np.arange(0, len(padded) - window + 1, hop)
    for first in range(0, len(starts), _BLOCK_HOPS):
        block = starts[first : first + _BLOCK_HOPS]
        frames = padded[block[:, None] + np.arange(window)[None, :]] * shape[None, :, None]
        pieces = _restored(frames, pitch_ratio, rate_hz) * shape[None, :, None] / np.float32(1.5)
        for start, piece in zip(block, pieces, strict=True):
            out[start : start + window] += piece
    return out[window : window + len(sound)]


def _restored(frames: Floats32, pitch_ratio: float, rate_hz: int) -> Floats32:
    """Each frame with the envelope it had before; channels share one gain."""
    from scipy.fft import irfft, rfft

    spectra = rfft(frames, axis=1)
    size = np.sqrt(np.square(np.abs(spectra)).sum(axis=2))
    floor = size.max(axis=1, keepdims=True) * _FLOOR_RATIO + 1e-12  # silence has no formants
    envelope = _envelope(np.log(np.maximum(size, floor)), rate_hz)
    bins = np.arange(size.shape[1])
    before = np.stack([np.interp(bins * pitch_ratio, bins, line) for line in envelope])
    most = _MOST_DB / 20 * np.log(10)
    gain = np.exp(np.clip(before - envelope, -most, most)).astype(np.float32)
    restored: Floats32 = irfft(spectra * gain[:, :, None], n=frames.shape[1], axis=1).astype(
        np.float32
    )
    return restored


def _envelope(log_size: Floats32, rate_hz: int) -> Floats:
    """A smooth curve over the tops of each log spectrum, (n_hops, n_bins)."""
    from scipy.fft import irfft, rfft
    from scipy.ndimage import median_filter

    n_full = 2 * (log_size.shape[1] - 1)
    tops = log_size.astype(np.float64)
    shortest, longest = (int(rate_hz / hertz) for hertz in SUNG_HZ[::-1])
    cepstrum = irfft(tops, n=n_full, axis=1)
    periods = shortest + np.argmax(cepstrum[:, shortest : longest + 1], axis=1)
    period = median_filter(periods.astype(np.float64), size=_STEADY_HOPS)[:, None]
    whole, none = _DETAIL_RATIOS
    quefrency = np.minimum(np.arange(n_full), n_full - np.arange(n_full))
    share = np.clip((quefrency[None, :] / period - whole) / (none - whole), 0.0, 1.0)
    lifter = 0.5 + 0.5 * np.cos(np.pi * share)
    envelope = tops
    for _ in range(_ROUNDS):
        envelope = rfft(irfft(tops, n=n_full, axis=1) * lifter, axis=1).real
        tops = np.maximum(tops, envelope)
    smooth: Floats = envelope
    return smooth


_BASE_HZ: Final = 11_025  # rates that are its multiples are worked on at 44.1 kHz, the rest at 48
_AROUND_S: Final = 0.3  # read on both sides of what is wanted, for the engine to settle


def transposed(edge: SongEdge, semitones: int, *, engine: StretchEngine = "own") -> SongEdge:
    """The edge in another key.

    Parameters
    ----------
    semitones : int
        Up is positive; 0 gives the edge itself.
    engine : {'own', 'rubberband'}
        Ours, or the program, which has to be installed.

    Returns
    -------
    SongEdge
        As long as it was. Drum stems are copied; voice and lead keep
        their formants; a mix is moved as a whole, which a remark says.
    """
    if not semitones:
        return edge
    stems = tuple(replace(stem, clip=_stem_moved(stem, semitones, engine)) for stem in edge.stems)
    remarks = edge.remarks
    if not edge.has_stems:
        way = "up" if semitones > 0 else "down"
        remark = (
            f"{edge.title} is one mix: all of it is moved {abs(semitones)} semitones {way}, "
            "its drums and the colour of its voices too."
        )
        remarks = (*remarks, remark)
    return replace(edge, stems=stems, remarks=remarks)


def _stem_moved(stem: Stem, semitones: int, engine: StretchEngine) -> Clip:
    clip = stem.clip
    if stem.role == "drums" or not clip.samples.any():
        return clip
    move = program_pitch if engine == "rubberband" else _own_pitch
    sings = stem.role in VOICES
    samples = _moved(clip, partial(move, semitones=semitones, keeps_formants=sings))
    return replace(clip, samples=samples)


def _moved(clip: Clip, move: Callable[..., Floats32]) -> Floats32:
    """A clip at another pitch, as long as it was.

    Work is done at 44.1 or 48 kHz, where the engines' timing is measured.
    """
    work_hz = 44_100 if clip.rate_hz % _BASE_HZ == 0 else 48_000
    around = round(_AROUND_S * clip.rate_hz)
    read = excerpt(clip.samples, -around, clip.n_frames + 2 * around)
    sound = move(resampled_frames(read, from_hz=clip.rate_hz, to_hz=work_hz), work_hz)
    back = resampled_frames(sound, from_hz=work_hz, to_hz=clip.rate_hz)
    return excerpt(back, around, clip.n_frames)


def _own_pitch(
    samples: Floats32, rate_hz: int, semitones: int, *, keeps_formants: bool
) -> Floats32:
    source = Clip(samples=samples, rate_hz=rate_hz)
    ends_s = np.array([0.0, source.duration_s])
    ratio = 2.0 ** (semitones / 12)
    sound = sound_at_speeds(
        source,
        TimeMap(plan_s=ends_s, source_s=ends_s),
        np.full(source.n_frames, ratio),
        first_frame=0,
        engine=rubber_band,
    )
    return formants_restored(sound, ratio, rate_hz) if keeps_formants else sound
