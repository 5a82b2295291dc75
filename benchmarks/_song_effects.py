"""What happens to a rendering on its way to a file: tone, rooms, levels, noise, coding."""

import io
from dataclasses import dataclass
from typing import Final

import numpy as np
import soundfile
from scipy.signal import fftconvolve, resample_poly

from benchmarks._render import RATE_HZ

FILE_RATE_HZ = 44_100


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """All that is drawn once for an edge's sound; None is left out."""

    tone_db: tuple[float, ...] | None
    high_pass_hz: float | None
    room_s: float | None
    wet: float
    drive: float | None
    noise_db: float | None
    is_mono: bool
    coding: str | None
    coding_level: float
    loudest: float


def drawn_effects(rng: np.random.Generator) -> Effects:
    """Effects as recordings, stages and telephones have them."""

    def maybe(share: float, value: float) -> float | None:
        return value if rng.random() < share else None

    return Effects(
        tone_db=tuple(float(db) for db in rng.normal(0, 4, 7)) if rng.random() < 0.6 else None,
        high_pass_hz=maybe(0.2, float(np.exp(rng.uniform(np.log(30), np.log(200))))),
        room_s=maybe(0.4, float(rng.uniform(0.2, 2.2))),
        wet=float(10 ** (rng.uniform(-18, -4) / 20)),
        drive=maybe(0.45, float(rng.uniform(1.0, 6.0))),
        noise_db=maybe(0.25, float(rng.uniform(-65, -32))),
        is_mono=bool(rng.random() < 0.15),
        coding=(None, "MP3", "OGG")[int(rng.choice(3, p=[0.65, 0.22, 0.13]))],
        coding_level=float(rng.uniform(0.3, 0.9)),
        loudest=float(rng.uniform(0.15, 0.95)),
    )


def with_effects(
    audio: np.ndarray, effects: Effects, gain: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """The sound of the file, shape (n_frames, 1 or 2), at `FILE_RATE_HZ`.

    `gain` is the fader, one number a frame of the rendering.
    """
    sound = audio.astype(np.float64)
    if effects.tone_db:
        sound = _toned(sound, effects.tone_db)
    if effects.high_pass_hz:
        sound = _high_passed(sound, effects.high_pass_hz)
    if effects.room_s:
        sound = sound + effects.wet * _room(sound, effects.room_s, rng)
    sound /= max(float(np.abs(sound).max()), 1e-6)
    if effects.drive:
        sound = np.tanh(effects.drive * sound) / np.tanh(effects.drive)
    sound *= gain[:, None]
    if effects.noise_db is not None:
        noise = rng.standard_normal(sound.shape)
        noise = np.apply_along_axis(lambda row: np.convolve(row, [1, 0.7], "same"), 0, noise)
        sound = sound + 10 ** (effects.noise_db / 20) * 0.4 * noise
    sound = resample_poly(sound, 147, 160, axis=0)
    if effects.is_mono:
        sound = sound.mean(axis=1, keepdims=True)
    sound *= effects.loudest / max(float(np.abs(sound).max()), 1e-6)
    if effects.coding:
        sound = _coded(sound, effects.coding, effects.coding_level)
    return np.clip(sound, -1, 1)


def fader(n_frames: int, fade_s: float, shape: str) -> np.ndarray:
    """Gain of a fade-out at the end: straight in dB, straight in gain, or a round one."""
    gain = np.ones(n_frames)
    n_fade = min(round(fade_s * RATE_HZ), n_frames)
    if n_fade:
        place = np.linspace(0, 1, n_fade)
        curves = {
            "decibels": 10 ** (-60 * place / 20),
            "straight": 1 - place,
            "round": np.cos(place * np.pi / 2) ** 2,
            "late": 1 - place**3,
        }
        gain[-n_fade:] = curves[shape]
    return gain


def _spectrum_gain(sound: np.ndarray, gain_of_hz: np.ndarray) -> np.ndarray:
    spectrum = np.fft.rfft(sound, axis=0)
    return np.fft.irfft(spectrum * gain_of_hz[:, None], len(sound), axis=0)


def _toned(sound: np.ndarray, tone_db: tuple[float, ...]) -> np.ndarray:
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    knots = np.log2([40, 120, 300, 800, 2200, 6000, 14_000])
    db = np.interp(np.log2(np.maximum(hz, 20)), knots, tone_db)
    return _spectrum_gain(sound, 10 ** (db / 20))


def _high_passed(sound: np.ndarray, edge_hz: float) -> np.ndarray:
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    return _spectrum_gain(sound, 1 / np.sqrt(1 + (edge_hz / np.maximum(hz, 1e-3)) ** 4))


def _room(sound: np.ndarray, decay_s: float, rng: np.random.Generator) -> np.ndarray:
    n_frames = round(min(decay_s, 1.5) * RATE_HZ)
    time_s = np.arange(n_frames) / RATE_HZ
    tail = rng.standard_normal((n_frames, 2)) * 10 ** (-3 * time_s / decay_s)[:, None]
    tail = np.apply_along_axis(lambda row: np.convolve(row, [0.5, 0.3, 0.2], "same"), 0, tail)
    tail /= np.sqrt((tail**2).sum(axis=0))
    return fftconvolve(sound, tail, axes=0)[: len(sound)]


AT_ONCE_FRAMES: Final = 1 << 16
"""Vorbis is written in small pieces: of a minute at once libsndfile overflows its stack, and the
process dies."""


def _coded(sound: np.ndarray, kind: str, level: float) -> np.ndarray:
    """Through MPEG layer 3 or Vorbis; the delay is found again and taken out."""
    coded = io.BytesIO()
    options = {"compression_level": level} if kind == "MP3" else {}
    subtype = "MPEG_LAYER_III" if kind == "MP3" else "VORBIS"
    with soundfile.SoundFile(
        coded, "w", FILE_RATE_HZ, sound.shape[1], format=kind, subtype=subtype, **options
    ) as file:
        for begin in range(0, len(sound), AT_ONCE_FRAMES):
            file.write(sound[begin : begin + AT_ONCE_FRAMES])
    coded.seek(0)
    decoded, _ = soundfile.read(coded, dtype="float64", always_2d=True)
    n_probe = min(len(sound), len(decoded), 20 * FILE_RATE_HZ)
    n_fft = 1 << (2 * n_probe).bit_length()
    pair = [np.fft.rfft(s[:n_probe].sum(axis=1), n_fft) for s in (decoded, sound)]
    delay = int(np.argmax(np.fft.irfft(pair[0] * np.conj(pair[1]), n_fft)[:4000]))
    out = np.zeros_like(sound)
    kept = decoded[delay : delay + len(sound)]
    out[: len(kept)] = kept
    return out
