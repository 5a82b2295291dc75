"""Where clips meet libraries that lay audio out otherwise, one function each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from segue.audio.clip import Clip

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy.typing as npt
    from pedalboard import Pedalboard, Plugin

SOXR_QUALITY = "VHQ"


def resampled_frames(
    samples: npt.NDArray[np.float32], *, from_hz: int, to_hz: int
) -> npt.NDArray[np.float32]:
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
    mono: npt.NDArray[np.float32], *, from_hz: int, to_hz: int, quality: Literal["LQ", "MQ", "HQ"]
) -> npt.NDArray[np.float32]:
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
    blocks: Iterable[npt.NDArray[np.float32]], n_channels: int, *, from_hz: int, to_hz: int
) -> Iterator[npt.NDArray[np.float32]]:
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

    Parameters
    ----------
    rate_hz : int
        Frames per second wanted.

    Returns
    -------
    Clip
        As long as the clip, to the nearest frame.
    """
    samples = resampled_frames(clip.samples, from_hz=clip.rate_hz, to_hz=rate_hz)
    return Clip(samples=samples, rate_hz=rate_hz, start_s=clip.start_s)


def run_board(board: Pedalboard | Plugin, clip: Clip, *, reset: bool = True) -> Clip:
    """The clip after an effect, frame for frame.

    Parameters
    ----------
    board : Pedalboard or Plugin
        One effect or a chain of them.
    reset : bool, optional
        Clear the effect's memory first; False carries a tail over from the call before.

    Returns
    -------
    Clip
        Same shape, rate and start.

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
