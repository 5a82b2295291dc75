"""The mixing desk: a chain of effects a stem, then one gain curve over all stems.

The stems are printed *through* the master: the limiter's gain curve is worked
out on their sum and applied to every stem alike, so the plain sum of the files
is the finished mix.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pedalboard as pb
import pyloudnorm
from demo_sound import RATE_HZ, Audio
from scipy.ndimage import minimum_filter1d, uniform_filter1d
from scipy.signal import resample_poly

TARGET_LUFS: Final = -15.0
CEILING_DBTP: Final = -2.0
"""Some way under -1 dBTP: Ogg Vorbis overshoots when it is decoded."""

LOOK_AHEAD_FRAMES: Final = 220


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """Settings of one channel strip; loudness is the stem's own, before the master."""

    loudness_lufs: float
    high_pass_hz: float
    low_pass_hz: float = 16000.0
    presence_db: float = 0.0
    presence_hz: float = 3200.0
    warmth_db: float = 0.0
    threshold_db: float = -20.0
    ratio: float = 2.5
    attack_ms: float = 12.0
    chorus_mix: float = 0.0
    drive_db: float = 0.0
    echo_s: float = 0.0
    room: float = 0.35
    reverb_mix: float = 0.12
    width: float = 1.0
    spread: float = 0.0
    """A second player's worth of sides: the middle once more, late and wavering, only in the
    difference of the sides, so that it is gone when somebody sums them."""
    air_db: float = 0.0
    pan: float = 0.0
    sway_hz: float = 0.0
    sway_depth: float = 0.0
    """A slow swing between the sides: an electric piano's vibrato, an organ's rotor."""
    is_mono: bool = False


def treated(dry: Audio, desk: Desk) -> Audio:
    """A stem after its channel strip, at the loudness the strip asks for."""
    levelled = dry * 10 ** ((-20.0 - loudness_lufs(dry)) / 20)
    board = pb.Pedalboard(_strip(desk))
    wet = board(levelled.T.astype(np.float32), RATE_HZ, reset=True).T.astype(np.float64)
    if desk.is_mono:
        wet = np.repeat(wet.mean(axis=1, keepdims=True), 2, axis=1)
    else:
        wet = _placed(wet, desk)
    return wet * 10 ** ((desk.loudness_lufs - loudness_lufs(wet)) / 20)


def _strip(desk: Desk) -> list[pb.Plugin]:
    plugins: list[pb.Plugin] = [
        pb.HighpassFilter(desk.high_pass_hz),
        pb.LowpassFilter(desk.low_pass_hz),
        pb.LowShelfFilter(220.0, desk.warmth_db, 0.7),
        pb.PeakFilter(desk.presence_hz, desk.presence_db, 0.8),
        pb.HighShelfFilter(7000.0, desk.air_db, 0.7),
    ]
    if desk.drive_db > 0:
        plugins += [pb.Distortion(desk.drive_db), pb.Gain(-0.6 * desk.drive_db)]
    plugins.append(pb.Compressor(desk.threshold_db, desk.ratio, desk.attack_ms, 120.0))
    if desk.chorus_mix > 0:
        plugins.append(pb.Chorus(0.6, 0.2, 8.0, 0.1, desk.chorus_mix))
    if desk.echo_s > 0:
        plugins.append(pb.Delay(desk.echo_s, 0.2, 0.1))
    wet = desk.reverb_mix
    plugins.append(pb.Reverb(desk.room, 0.55, wet, 1.0 - wet, 0.9))
    return plugins


def _placed(audio: Audio, desk: Desk) -> Audio:
    middle = audio.mean(axis=1, keepdims=True)
    side = (audio - middle) * desk.width
    if desk.spread > 0:
        second = pb.Pedalboard([pb.HighpassFilter(300.0), pb.Chorus(0.4, 0.12, 14.0, 0.0, 1.0)])
        late = second(middle.T.astype(np.float32), RATE_HZ, reset=True).T.astype(np.float64)
        side = side + desk.spread * late * np.array([1.0, -1.0])
    gains = np.array([1 - max(0.0, desk.pan), 1 + min(0.0, desk.pan)])
    phase = 2 * np.pi * desk.sway_hz * np.arange(len(audio)) / RATE_HZ
    sway = desk.sway_depth * np.sin(phase)[:, None] * np.array([1.0, -1.0])
    return (middle + side) * gains * (1 + sway)


def mastered(stems: dict[str, Audio], *, ceiling_dbtp: float) -> dict[str, Audio]:
    """All stems through one master: together at the target loudness, under the ceiling."""
    mix = sum_of(stems)
    peaks = frame_peaks(mix)
    makeup = 10 ** ((TARGET_LUFS - loudness_lufs(mix)) / 20)
    gain = limiter_gain(peaks * makeup, ceiling_dbtp=ceiling_dbtp)
    for _ in range(2):
        makeup *= 10 ** ((TARGET_LUFS - loudness_lufs(mix * (makeup * gain)[:, None])) / 20)
        gain = limiter_gain(peaks * makeup, ceiling_dbtp=ceiling_dbtp)
    return {name: stem * (makeup * gain)[:, None] for name, stem in stems.items()}


def sum_of(stems: dict[str, Audio]) -> Audio:
    """The mix: the plain sum of the stems."""
    return np.sum(list(stems.values()), axis=0)


def frame_peaks(mix: Audio) -> npt.NDArray[np.float64]:
    """True peak of every frame: the highest of its four oversampled neighbours, both sides."""
    return np.abs(resample_poly(mix, 4, 1, axis=0)).max(axis=1).reshape(-1, 4).max(axis=1)


def limiter_gain(peaks: npt.NDArray[np.float64], *, ceiling_dbtp: float) -> npt.NDArray[np.float64]:
    """Gain a frame that keeps the true peak of the mix under the ceiling."""
    wanted = np.minimum(1, 10 ** (ceiling_dbtp / 20) / np.maximum(peaks, 1e-9))
    held = minimum_filter1d(wanted, 4 * LOOK_AHEAD_FRAMES + 1)
    smooth = uniform_filter1d(held, 2 * LOOK_AHEAD_FRAMES)
    return uniform_filter1d(smooth, 2 * LOOK_AHEAD_FRAMES)


def loudness_lufs(audio: Audio) -> float:
    """Integrated loudness (ITU-R BS.1770)."""
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    return float(meter.integrated_loudness(audio))


def true_peak_dbtp(audio: Audio) -> float:
    """True peak at four times the rate (ITU-R BS.1770, annex 2)."""
    return float(20 * np.log10(np.abs(resample_poly(audio, 4, 1, axis=0)).max()))
