"""How a take is recorded: by the desk, in a room, or by a phone, with what surrounds it.

Noise and talk before and after, the recorder's clock and level, and the file it leaves.
"""

import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import soundfile
import soxr
from scipy.signal import butter, lfilter, sosfilt

from benchmarks._review_takes import in_a_room, pink, tilted

Floats = npt.NDArray[np.float64]
Way = Literal["desk", "room", "phone"]
WAYS: Final[tuple[Way, ...]] = ("desk", "room", "phone")

_LARGEST_SPEED: Final = 0.001  # of a recorder's clock; quartz is a tenth of it and less
_SNR_DB: Final = {"desk": (35.0, 50.0), "room": (15.0, 25.0), "phone": (12.0, 20.0)}
_PHONE_HZ: Final = (180.0, 8_000.0)  # what a telephone's microphone lets through (from memory)
_TALK_DB: Final = -12.0  # of talk between takes, against the band


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What is true of a recording."""

    offset_s: float
    speed: float
    way: Way
    is_mp3: bool


def recorded(  # noqa: PLR0913 - each is a thing that a recorder does
    sound: npt.NDArray[np.floating],
    rate_hz: int,
    path: Path,
    *,
    seed: int,
    gain_ratio: float = 1.0,
    starts_s: float = 0.0,
    way: Way | None = None,
) -> Recorded:
    """Record what was played.

    `gain_ratio` is that of an automatic gain, 1 for none; `starts_s` is where in the music the
    recorder was switched on, 0 for before it.
    """
    rng = np.random.default_rng([14, seed])
    way = way or WAYS[int(rng.integers(len(WAYS)))]
    speed = 1 + rng.uniform(-_LARGEST_SPEED, _LARGEST_SPEED)
    heard = np.asarray(soxr.resample(sound, rate_hz, rate_hz * speed), dtype=np.float64)
    before_s, after_s = rng.uniform(0.5, 12), rng.uniform(0.5, 6)
    pads = [round(s * rate_hz) for s in (before_s, after_s)]
    power = np.square(heard).mean()
    heard = np.pad(heard, ((pads[0], pads[1]), (0, 0)))
    _add_talk(heard, rate_hz, power, pads, rng)
    if way != "desk":
        heard = in_a_room(tilted(heard, rate_hz, rng), rate_hz, rng)
    noise = pink(heard.shape, rng)
    snr_db = rng.uniform(*_SNR_DB[way])
    heard += noise * np.sqrt(power / 10 ** (snr_db / 10) / np.square(noise).mean())
    if way == "phone":
        sos = butter(2, _PHONE_HZ, "bandpass", fs=rate_hz, output="sos")
        heard = np.repeat(sosfilt(sos, heard.mean(axis=1, keepdims=True), axis=0), 2, axis=1)
    if gain_ratio > 1:
        heard = ridden(heard, rate_hz, gain_ratio)
    offset_s = pads[0] / rate_hz
    if starts_s > 0:
        cut = pads[0] + round(starts_s * speed * rate_hz)
        heard, offset_s = heard[cut:], -starts_s * speed
    heard *= 10 ** (rng.uniform(-20, -1) / 20) / np.abs(heard).max()
    is_mp3 = bool(rng.random() < 0.5)
    written(path, heard, rate_hz, is_mp3=is_mp3)
    return Recorded(offset_s=offset_s, speed=speed, way=way, is_mp3=is_mp3)


def ridden(sound: Floats, rate_hz: int, ratio: float) -> Floats:
    """The sound behind an automatic gain: quick down, slow up, never more than 30 dB up.

    Attack of 50 ms and release of a second, as recorders for speech have them (from memory).
    """
    block = round(0.01 * rate_hz)
    n_blocks = len(sound) // block + 1
    padded = np.pad(sound, ((0, n_blocks * block - len(sound)), (0, 0)))
    level_db = 10 * np.log10(np.square(padded).reshape(n_blocks, -1).mean(axis=1) + 1e-9)
    top = float(np.quantile(level_db, 0.9))
    wanted = np.clip((1 - 1 / ratio) * (top - level_db), -10, 30)
    gain = np.empty(n_blocks)
    now = wanted[0]
    for n, want in enumerate(wanted):
        now += (want - now) * (0.2 if want < now else 0.01)
        gain[n] = now
    at = np.arange(len(sound)) / block
    curve = np.interp(at, np.arange(n_blocks) + 0.5, gain)
    loud: Floats = sound * 10 ** (curve / 20)[:, None]
    return loud


def written(path: Path, sound: Floats, rate_hz: int, *, is_mp3: bool) -> None:
    """A WAV of 16 bits, or an MP3 of 64 kbit/s."""
    soundfile.write(path, sound, rate_hz, subtype="PCM_16", format="WAV")
    if is_mp3:
        coded = path.with_name(f"{path.stem} coded.mp3")
        command = ["ffmpeg", "-y", "-loglevel", "error", "-i", path, "-b:a", "64k", coded]
        subprocess.run(command, check=True)
        coded.replace(path)


def _add_talk(
    sound: Floats, rate_hz: int, power: float, pads: list[int], rng: np.random.Generator
) -> None:
    """Somebody talks before and after."""
    for first, last in ((0, pads[0]), (len(sound) - pads[1], len(sound))):
        if last - first > rate_hz:
            words = talk((last - first) / rate_hz, rate_hz, rng)[: last - first]
            loud = np.sqrt(power) * 10 ** (_TALK_DB / 20) / np.sqrt(np.square(words).mean() + 1e-12)
            sound[first : first + len(words)] += (loud * words)[:, None]


def talk(length_s: float, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Syllables of a voice without words: a buzz through two formants, and breath between."""
    sound = np.zeros(round(length_s * rate_hz))
    at_s = 0.0
    while at_s < length_s - 0.4:
        long_s = rng.uniform(0.08, 0.25)
        n_frames = round(long_s * rate_hz)
        pulse_hz = rng.uniform(95, 190)
        buzz = np.zeros(n_frames)
        buzz[:: max(round(rate_hz / pulse_hz), 1)] = 1.0
        buzz += 0.05 * rng.normal(size=n_frames)
        for hz in (rng.uniform(300, 800), rng.uniform(900, 2300)):
            r = np.exp(-np.pi * 90 / rate_hz)
            buzz = lfilter([1], [1, -2 * r * np.cos(2 * np.pi * hz / rate_hz), r * r], buzz)
        first = round(at_s * rate_hz)
        piece = buzz * np.hanning(n_frames)
        sound[first : first + n_frames] += piece / (np.abs(piece).max() + 1e-9)
        at_s += long_s + (rng.uniform(0.3, 1.2) if rng.random() < 0.15 else rng.uniform(0.0, 0.06))
    return sound
