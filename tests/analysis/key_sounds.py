"""Plain chords with overtones, as edges of songs."""

from pathlib import Path

import numpy as np

from segue.analysis.facts import PulseFact
from segue.audio.clip import Clip, Edge, Role, SongEdge, Stem

RATE_HZ = 24_000
CHORD_S = 1.0
N_OVERTONES = 6
NO_PULSE = PulseFact(
    tempo_bpm=120.0,
    tempo_alternatives_bpm=(),
    beats_s=(),
    downbeats_s=(),
    metre=4,
    confidence=0.0,
    downbeat_confidence=0.0,
    residual_ms=0.0,
)
"""What is told where nothing pulses."""

Chord = tuple[int, tuple[int, ...]]
"""Root in semitones above the tonic, and the notes above that root."""
MAJOR, MINOR = (0, 4, 7), (0, 3, 7)
CADENCE: dict[str, tuple[Chord, ...]] = {
    "major": ((0, MAJOR), (5, MAJOR), (7, MAJOR), (0, MAJOR)),
    "minor": ((0, MINOR), (5, MINOR), (7, MAJOR), (0, MINOR)),
}
"""Tonic, subdominant, dominant, tonic: Kostka and Payne, Tonal Harmony, ch. 7 (from memory)."""


def note(midi: float, length_s: float = CHORD_S) -> np.ndarray:
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    tone = sum(0.6**n * np.sin(2 * np.pi * hz * (n + 1) * time_s) for n in range(N_OVERTONES))
    return 0.05 * np.asarray(tone) * np.minimum(time_s / 0.01, 1.0) * np.exp(-time_s)


def bass_of(tonic: float, chords: tuple[Chord, ...]) -> np.ndarray:
    return np.concatenate([note(36 + (tonic + root) % 12) for root, _ in chords])


def chords_of(tonic: float, chords: tuple[Chord, ...]) -> np.ndarray:
    return np.concatenate(
        [sum(note(60 + (tonic + root + n) % 12) for n in above) for root, above in chords]
    )


def edge_of(edge: Edge = "end", start_s: float = 0.0, **stems: np.ndarray) -> SongEdge:
    made = tuple(_stem(role, sound, start_s) for role, sound in stems.items())
    return SongEdge(
        path=Path("song"), title="song", edge=edge, stems=made, duration_s=made[0].clip.end_s
    )


def song(tonic: float, chords: tuple[Chord, ...], gain: float = 1.0) -> SongEdge:
    return edge_of(mix=gain * (chords_of(tonic, chords) + 2.0 * bass_of(tonic, chords)))


def _stem(role: Role, sound: np.ndarray, start_s: float) -> Stem:
    samples = np.repeat(sound.astype(np.float32)[:, None], 2, axis=1)
    clip = Clip(samples=samples, rate_hz=RATE_HZ, start_s=start_s)
    return Stem(role=role, file=f"{role}.wav", clip=clip)
