"""Three segues as a fair user would script them: librosa, pyrubberband and pedalboard, no score.

Hearing follows the libraries' own tutorials: load, split harmonic from percussive, beats from
the one and chroma from the other, key by the best Krumhansl-Kessler profile. The three segues
are a pad in the new key, a tempo ramp and a filtered tail. Run as a process of its own:

    python -m benchmarks._plain_script OLD NEW OUT
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import librosa
import numpy as np
import pyrubberband
import soundfile
from pedalboard import Chorus, LowpassFilter, Pedalboard, Reverb

# Krumhansl and Kessler 1982, table of mean ratings
MAJOR = np.array([6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88])
MINOR = np.array([6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17])
BARS = 8


def hear(path: Path) -> tuple[int, bool, float, np.ndarray]:
    """Tonic, whether minor, tempo and beats in seconds of a whole song."""
    mono, rate = librosa.load(path)
    harmonic, percussive = librosa.effects.hpss(mono)
    tempo, beats = librosa.beat.beat_track(y=percussive, sr=rate, units="time")
    chroma = librosa.feature.chroma_cqt(y=harmonic, sr=rate).mean(axis=1)
    fits = [
        (np.corrcoef(np.roll(profile, tonic), chroma)[0, 1], tonic, is_minor)
        for tonic in range(12)
        for is_minor, profile in ((False, MAJOR), (True, MINOR))
    ]
    _, tonic, is_minor = max(fits)
    return tonic, is_minor, float(np.atleast_1d(tempo)[0]), np.asarray(beats)


def pad(tonic: int, third: int, length_s: float, rate: int) -> np.ndarray:
    """A triad of saw waves through chorus, a low-pass and a hall."""
    t = np.arange(int(length_s * rate)) / rate
    notes = (48 + tonic, 48 + tonic + third, 55 + tonic)
    saws = sum(2 * ((t * 440 * 2 ** ((n - 69) / 12)) % 1) - 1 for n in notes)
    board = Pedalboard([LowpassFilter(1200), Chorus(), Reverb(room_size=0.8)])
    stereo = np.stack([saws, saws]).astype(np.float32) * 0.05
    return board(stereo, rate).T


def faded(sound: np.ndarray, n_frames: int, *, out: bool) -> np.ndarray:
    """Equal-power fade over its end or its start."""
    n = min(n_frames, len(sound))
    curve = np.sin(np.linspace(0, np.pi / 2, n))[:, None]
    sound = sound.copy()
    if out:
        sound[-n:] *= curve[::-1]
    else:
        sound[:n] *= curve
    return sound


def ramped(sound: np.ndarray, rate: int, old_bpm: float, new_bpm: float) -> np.ndarray:
    """The sound slowed or sped from one tempo to the other, bar by bar."""
    bar = int(4 * 60 / old_bpm * rate)
    parts = []
    for n in range(BARS):
        ratio = (old_bpm + (new_bpm - old_bpm) * (n + 0.5) / BARS) / old_bpm
        parts.append(pyrubberband.time_stretch(sound[n * bar : (n + 1) * bar], rate, ratio))
    return np.concatenate(parts)


def laid(parts: list[tuple[int, np.ndarray]]) -> np.ndarray:
    """Sounds laid from their first frames on."""
    total = np.zeros((max(at + len(sound) for at, sound in parts), 2))
    for at, sound in parts:
        total[at : at + len(sound)] += sound
    return total


def main(old: Path, new: Path, out: Path) -> None:
    """Write three segues."""
    out.mkdir(parents=True, exist_ok=True)
    (_, _, old_bpm, old_beats), (tonic, is_minor, new_bpm, new_beats) = hear(old), hear(new)
    a, rate = soundfile.read(old, always_2d=True)
    b, _ = soundfile.read(new, always_2d=True)
    exit_frame = int(old_beats[-5] * rate)
    tail = a[max(0, exit_frame - 20 * rate) : exit_frame]
    head = b[int(new_beats[0] * rate) :][: 20 * rate]
    interlude_s = BARS * 4 * 60 / new_bpm
    third = 3 if is_minor else 4
    bed = faded(faded(pad(tonic, third, interlude_s + 2, rate), rate, out=False), rate, out=True)
    seam = rate // 50
    n = len(tail)
    segues: dict[str, Any] = {
        "pad": laid(
            [(0, faded(tail, seam, out=True)), (n, bed), (n + int(interlude_s * rate), head)]
        )
    }
    ramp = ramped(a[exit_frame - int(BARS * 4 * 60 / old_bpm * rate) :], rate, old_bpm, new_bpm)
    segues["ramp"] = laid([(0, tail), (n, faded(ramp, seam, out=True)), (n + len(ramp), head)])
    swept = tail.copy()
    for k in range(40):
        where = slice(n - (40 - k) * (n // 60), n - (39 - k) * (n // 60))
        cut = Pedalboard([LowpassFilter(8000 * 0.9**k)])
        swept[where] = cut(swept[where].T.astype(np.float32), rate).T
    segues["tail"] = laid([(0, faded(swept, rate, out=True)), (n, bed), (n + len(bed), head)])
    for name, sound in segues.items():
        soundfile.write(out / f"{name}.wav", sound / max(1, np.abs(sound).max()), rate)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
