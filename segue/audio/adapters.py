"""Sound at another rate, of other channels, or laid out as a library wants it, one function each.

Any number of channels becomes two by the coefficients of ITU-R BS.775: a centre and the
surrounds enter both sides or their own at -3 dB, the low-frequency channel is left out, and
mono goes to both sides at 0 dB.

References
----------
.. [BS775] ITU-R BS.775-3, "Multichannel stereophonic sound system with and
   without accompanying picture", 2012, annex 4, table 2 (downward mixing).
.. [RFC9639] RFC 9639, "Free Lossless Audio Codec (FLAC)", 2024, table 9: the
   channel order of FLAC, which is also that of WAVE.
.. [Vorbis] Vorbis I specification, section 4.3.9: output channel order, also
   that of Opus by RFC 7845, section 5.1.1.2.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.audio.clip import Clip

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pedalboard import Pedalboard, Plugin

    from segue.arrays import Floats, Floats32


SOXR_QUALITY = "VHQ"


def resampled_frames(samples: Floats32, *, from_hz: int, to_hz: int) -> Floats32:
    """Audio at another rate; its first frame stays at the same time.

    Parameters
    ----------
    samples : ndarray, shape (n_frames, n_channels), float32
    from_hz, to_hz : int
        Frames per second before and after.

    Returns
    -------
    ndarray, shape (round(n_frames * to_hz / from_hz), n_channels), float32
        Sound is zero before and after the audio given.

    Raises
    ------
    RuntimeError
        If the resampler answers with another shape.
    """
    import soxr

    if from_hz == to_hz:
        return samples
    n_frames = scaled_frames(len(samples), from_hz=from_hz, to_hz=to_hz)
    out = soxr.resample(samples, from_hz, to_hz, quality=SOXR_QUALITY)
    if out.ndim != samples.ndim or out.shape[1] != samples.shape[1]:
        raise RuntimeError(f"resampling {samples.shape} gave {out.shape}")
    fitted = np.zeros((n_frames, samples.shape[1]), dtype=np.float32)
    fitted[: len(out)] = out[:n_frames]  # the resampler's own rounding is off by one at most
    return fitted


def mono_at_rate(
    mono: Floats32, *, from_hz: int, to_hz: int, quality: Literal["LQ", "MQ", "HQ"]
) -> Floats32:
    """One channel at the rate that it is analysed at.

    Parameters
    ----------
    mono : ndarray, shape (n_frames,), float32
    quality : {'LQ', 'MQ', 'HQ'}
        Bits that stay exact: 16 with a slow roll-off, 16, or 20 (documentation of soxr).

    Returns
    -------
    ndarray, shape (n_frames * to_hz / from_hz, to a frame,), float32
    """
    import soxr

    return np.asarray(soxr.resample(mono, from_hz, to_hz, quality=quality), dtype=np.float32)


def resampled_blocks(
    blocks: Iterable[Floats32], n_channels: int, *, from_hz: int, to_hz: int
) -> Iterator[Floats32]:
    """Audio at another rate, some of it at a time, to hold little memory.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n_frames, n_channels), float32
        One after the other.

    Yields
    ------
    ndarray, shape (n_frames, n_channels), float32
        Of any length, also 0.
    """
    import soxr

    if from_hz == to_hz:
        yield from blocks
        return
    stream = soxr.ResampleStream(from_hz, to_hz, n_channels, dtype="float32")
    for block in blocks:
        yield stream.resample_chunk(block)
    rest = np.zeros((0, n_channels), dtype=np.float32)
    yield stream.resample_chunk(rest, last=True)


def scaled_frames(n_frames: int, *, from_hz: int, to_hz: int) -> int:
    """Frames that a length becomes at another rate, to the nearest, halves up.

    Examples
    --------
    >>> scaled_frames(44_101, from_hz=44_100, to_hz=48_000)
    48001
    """
    return (2 * n_frames * to_hz + from_hz) // (2 * from_hz)


def resampled(clip: Clip, rate_hz: int) -> Clip:
    """The clip at another rate, starting at the same time.

    As long as the clip, to the nearest frame.
    """
    samples = resampled_frames(clip.samples, from_hz=clip.rate_hz, to_hz=rate_hz)
    return Clip(samples=samples, rate_hz=rate_hz, start_s=clip.start_s)


def run_board(board: Pedalboard | Plugin, clip: Clip, *, reset: bool = True) -> Clip:
    """The clip after an effect, frame for frame.

    Of the same shape, rate and start.

    Parameters
    ----------
    board : Pedalboard or Plugin
        One effect or a chain of them.
    reset : bool, optional
        Clear the effect's memory first; False carries a tail over from the call before.

    Raises
    ------
    ValueError
        If there are no more frames than channels.
    RuntimeError
        If the effect answers with another shape.
    """
    if not clip.n_frames:
        return clip
    n_channels = clip.samples.shape[1]
    if clip.n_frames <= n_channels:  # the library takes the longer side for time
        raise ValueError(f"expected more frames than channels, got {clip.samples.shape}")
    planar = np.ascontiguousarray(clip.samples.T)
    out = np.ascontiguousarray(board.process(planar, clip.rate_hz, reset=reset).T)
    if out.shape != clip.samples.shape:
        raise RuntimeError(f"effect on {clip.samples.shape} gave {out.shape}")
    return Clip(
        samples=out.astype(np.float32, copy=False), rate_hz=clip.rate_hz, start_s=clip.start_s
    )


MAX_CHANNELS: Final = 8  # 7.1 and no more

ChannelOrder = Literal["wave", "vorbis"]

HALF_POWER: Final = math.sqrt(0.5)
"""Gain of a centre or surround channel in a stereo mix, -3 dB [BS775]_."""

WAVE_ORDER: Final = {
    1: "M",
    2: "L R",
    3: "L R C",
    4: "L R Ls Rs",
    5: "L R C Ls Rs",
    6: "L R C LFE Ls Rs",
    7: "L R C LFE Cs Ls Rs",
    8: "L R C LFE Ls Rs Ls Rs",
}
"""Channels of a file by their number [RFC9639]_; back and side pairs are both Ls Rs."""

VORBIS_ORDER: Final = {
    **WAVE_ORDER,
    3: "L C R",
    5: "L C R Ls Rs",
    6: "L C R Ls Rs LFE",
    7: "L C R Ls Rs Cs LFE",
    8: "L C R Ls Rs Ls Rs LFE",
}
"""The same for Ogg Vorbis and Opus [Vorbis]_."""

_GAINS: Final = {
    "M": (1.0, 1.0),
    "L": (1.0, 0.0),
    "R": (0.0, 1.0),
    "C": (HALF_POWER, HALF_POWER),
    "Ls": (HALF_POWER, 0.0),
    "Rs": (0.0, HALF_POWER),
    "Cs": (0.5, 0.5),  # BS.775 halves its power before it goes to both sides at -3 dB
    "LFE": (0.0, 0.0),
}


def stereo_matrix(n_channels: int, *, order: ChannelOrder = "wave") -> Floats:
    """Gains that take each channel to left and right.

    Parameters
    ----------
    n_channels : int
        1 to 8.
    order : {'wave', 'vorbis'}
        Which convention names the channels.

    Returns
    -------
    ndarray, shape (n_channels, 2)
        Multiply audio by it, ``samples @ stereo_matrix(n_channels)``.

    Raises
    ------
    ValueError
        If there are fewer than 1 or more than 8 channels.

    Examples
    --------
    >>> stereo_matrix(3).round(3).tolist()
    [[1.0, 0.0], [0.0, 1.0], [0.707, 0.707]]
    """
    names = (WAVE_ORDER if order == "wave" else VORBIS_ORDER).get(n_channels)
    if names is None:
        raise ValueError(f"expected 1 to {MAX_CHANNELS} channels, got {n_channels}")
    return np.array([_GAINS[name] for name in names.split()])
