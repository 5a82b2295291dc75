"""Vowels put back where they were after a pitch has been moved.

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

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

WINDOW_S: Final = 0.04
SUNG_HZ: Final = (75.0, 700.0)
"""Pitches that are looked for, to know how far apart the partials under the envelope lie."""
_DETAIL_RATIOS: Final = (0.3, 0.6)
"""Detail of an envelope as a share of the pitch period: whole up to the first, none from the
second on; half a period is the theory [RR05]_, these leave the least error on vowels."""
_STEADY_HOPS: Final = 9
_ROUNDS: Final = 20
_OVERLAP: Final = 4
_MOST_DB: Final = 20.0
_BLOCK_HOPS: Final = 512
_FLOOR_RATIO: Final = 1e-4


def formants_restored(
    sound: npt.NDArray[np.float32], pitch_ratio: float, rate_hz: int
) -> npt.NDArray[np.float32]:
    """Sound whose pitch was moved, with its formants back where they were.

    Parameters
    ----------
    sound : ndarray, shape (n_frames, n_channels), float32
    pitch_ratio : float
        How far it was moved: 2 is an octave up.
    rate_hz : int

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


def _restored(
    frames: npt.NDArray[np.float32], pitch_ratio: float, rate_hz: int
) -> npt.NDArray[np.float32]:
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
    restored: npt.NDArray[np.float32] = irfft(
        spectra * gain[:, :, None], n=frames.shape[1], axis=1
    ).astype(np.float32)
    return restored


def _envelope(log_size: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float64]:
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
    smooth: npt.NDArray[np.float64] = envelope
    return smooth
