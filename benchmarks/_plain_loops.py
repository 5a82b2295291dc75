"""Clicks and drum loops without any music: what a rehearsal starts from, and a metronome.

Scores and grooves hold neither; a model that never met one counts a plain back beat in twos.
"""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import numpy.typing as npt

Sound = npt.NDArray[np.float32]

RATE_HZ: Final = 22_050
LENGTH_S: Final = 24.0
BARS: Final = {
    "click": (3, 4),
    "kick and snare": (3, 4, 4, 4),
}
DECAY_S: Final = {"click": 0.006, "kick": 0.06, "snare": 0.05, "hat": 0.02}
BAND_HZ: Final = {
    "click": (800.0, 2500.0), "kick": (40.0, 150.0), "snare": (250.0, 5000.0),
    "hat": (5000.0, 11_000.0),
}  # fmt: skip


def plain_loops(n_loops: int, seed: int) -> Iterator[tuple[Sound, dict[str, Any]]]:
    """Sounds at `RATE_HZ`, each with its truth as `benchmarks.ears_set` words it."""
    rng = np.random.default_rng(seed)
    for number in range(n_loops):
        kind = list(BARS)[number % len(BARS)]
        metre = int(rng.choice(BARS[kind]))
        beat_s = 60.0 / float(np.exp(rng.uniform(np.log(62), np.log(168))))
        beats_s = rng.uniform(0.05, 0.6) + np.arange(int(LENGTH_S / beat_s)) * beat_s
        sound = np.zeros(round((beats_s[-1] + 0.8) * RATE_HZ), dtype=np.float32)
        for beat, time_s in enumerate(beats_s):
            for drum, at_s, level in _hits(kind, beat % metre, metre, beat_s):
                _add(sound, time_s + at_s, level * _hit(drum, rng))
        yield sound, {
            "piece": None, "seed": seed, "file": f"plain loop {number}", "edge": "start",
            "beats_s": beats_s.tolist(), "downbeats_s": beats_s[::metre].tolist(),
        }  # fmt: skip


def _hits(kind: str, place: int, metre: int, beat_s: float) -> list[tuple[str, float, float]]:
    """Drums of a beat, each with its delay and level."""
    if kind == "click":
        return [("click", 0.0, 1.0 if place == 0 else 0.5)]
    back_beat = 4
    is_kick = place in ((0, 2) if metre == back_beat else (0,))
    struck = ("kick", 0.0, 1.0) if is_kick else ("snare", 0.0, 0.5)
    return [struck, ("hat", 0.0, 0.2), ("hat", beat_s / 2, 0.2)]


def _hit(drum: str, rng: np.random.Generator) -> Sound:
    n_frames = round(6 * DECAY_S[drum] * RATE_HZ)
    low_hz, high_hz = BAND_HZ[drum]
    spectrum = np.fft.rfft(rng.standard_normal(n_frames))
    bins_hz = np.fft.rfftfreq(n_frames, 1 / RATE_HZ)
    spectrum[(bins_hz < low_hz) | (bins_hz > high_hz)] = 0
    noise = np.fft.irfft(spectrum, n_frames)
    fading = np.exp(-np.arange(n_frames) / RATE_HZ / DECAY_S[drum])
    return np.asarray(0.3 * noise / max(float(noise.std()), 1e-9) * fading, dtype=np.float32)


def _add(sound: Sound, at_s: float, hit: Sound) -> None:
    first = round(at_s * RATE_HZ)
    n_frames = min(len(hit), len(sound) - first)
    sound[first : first + n_frames] += hit[:n_frames]
