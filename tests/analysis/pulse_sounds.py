"""Click tracks and drum loops with exact truth."""

from pathlib import Path

import numpy as np
import numpy.typing as npt

from segue.audio.clip import Clip, Edge, SongEdge, Stem

RATE_HZ = 48_000
Sound = npt.NDArray[np.float64]


def edge_of(sound: Sound, *, rate_hz: int = RATE_HZ, edge: Edge = "start") -> SongEdge:
    stereo = np.stack([sound, sound], axis=1).astype(np.float32)
    clip = Clip(samples=stereo, rate_hz=rate_hz)
    stem = Stem(role="mix", file="song.wav", clip=clip)
    return SongEdge(
        path=Path("song.wav"), title="song", edge=edge, stems=(stem,), duration_s=clip.duration_s
    )


def _add(sound: Sound, at_s: float, hit: Sound) -> None:
    first = round(at_s * RATE_HZ)
    sound[first : first + len(hit)] += hit[: len(sound) - first]


def click_track(
    bpm: float, *, n_beats: int = 32, lead_s: float = 0.25, metre: int | None = None
) -> tuple[Sound, Sound]:
    """Clicks of 1 kHz that start at once, and their times, rounded to frames.

    With a metre the first of each bar is 6 dB louder, as a metronome strikes it.
    """
    times_s = np.round((lead_s + np.arange(n_beats) * 60 / bpm) * RATE_HZ) / RATE_HZ
    sound = np.zeros(round((times_s[-1] + 0.3) * RATE_HZ))
    at_s = np.arange(round(0.03 * RATE_HZ)) / RATE_HZ
    click = 0.25 * np.cos(2 * np.pi * 1000 * at_s) * np.exp(-at_s / 0.005)
    for number, time_s in enumerate(times_s):
        is_accented = metre is None or number % metre == 0
        _add(sound, time_s, click * (2 if is_accented else 1))
    return sound, times_s


def drum_loop(
    bpm: float, *, metre: int = 4, n_bars: int = 12, lead_s: float = 0.2, gain: float = 1.0
) -> tuple[Sound, Sound]:
    """Kick on one (and three of four), snare on the rest, hats in eighths; and the beats."""
    rng = np.random.default_rng(4)
    beats_s = lead_s + np.arange(n_bars * metre) * 60 / bpm
    sound = np.zeros(round((beats_s[-1] + 0.5) * RATE_HZ))
    kick, snare, hat = (
        _noise(rng, low_hz, high_hz, decay_s) * level
        for low_hz, high_hz, decay_s, level in (
            (40, 140, 0.06, 0.4),
            (300, 5000, 0.05, 0.15),
            (6000, 16000, 0.02, 0.05),
        )
    )
    for number, beat_s in enumerate(beats_s):
        is_kick = number % metre in ({0, 2} if metre == 4 else {0})
        _add(sound, beat_s, kick if is_kick else snare)
        _add(sound, beat_s, hat)
        _add(sound, beat_s + 30 / bpm, hat)
    return gain * sound, beats_s


def _noise(rng: np.random.Generator, low_hz: float, high_hz: float, decay_s: float) -> Sound:
    n_frames = round(6 * decay_s * RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n_frames))
    bins_hz = np.fft.rfftfreq(n_frames, 1 / RATE_HZ)
    spectrum[(bins_hz < low_hz) | (bins_hz > high_hz)] = 0
    noise = np.fft.irfft(spectrum, n_frames)
    return noise / noise.std() * np.exp(-np.arange(n_frames) / RATE_HZ / decay_s)
