"""Edges as the fitting of the key sees them: packed frames, other cuts of them, and labels."""

import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from segue.analysis.key_segments import NoteFrames, hear_segments, note_frames
from segue.analysis.pulse import hear_pulse
from segue.analysis.tuning import pitched_peaks, settled_tuning
from segue.audio import read_song

EDGE_S = 45.0
RATE_HZ = 48_000
FEWEST_SEGMENTS = 20
N_FOLDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyItem:
    """An edge, cut in one way or two, with its key (a place in ``ALL_KEYS``) and its weight.

    `song` names what must not be fitted to and measured on: a song, the chords of a loop, a
    package of recordings; empty for songs that nobody wrote.
    """

    cuts: tuple[NoteFrames, ...]
    key: int
    group: str
    song: str
    weight: float = 1.0

    @property
    def fold(self) -> int:
        """Which of `N_FOLDS` folds the song belongs to; -1 is none."""
        return zlib.crc32(self.song.encode()) % N_FOLDS if self.song else -1


def frames_of(path: Path, edge: str) -> tuple[NoteFrames, ...]:
    """Both cuts of a file's edge."""
    song = read_song(path, edge=edge, edge_s=EDGE_S, rate_hz=RATE_HZ)  # type: ignore[arg-type]
    tuning = settled_tuning(pitched_peaks(song))
    cuts = hear_segments(song, hear_pulse(song), tuning_cents=tuning.cents)
    return tuple(note_frames(cut) for cut in cuts)


def unpacked(cut: dict[str, Any], *, is_start: bool) -> NoteFrames:
    """Frames out of the bytes of `benchmarks._song_frames`."""
    return NoteFrames(
        notes=cut["x"].astype(np.float32) / 255,
        level=(cut["level"].astype(np.float32) - 160) / 16,
        downbeat=cut["down"].astype(np.float32) / 255,
        length_s=np.maximum(np.diff(cut["edges"]), 0.01),
        is_start=is_start,
    )


def other_cut(frames: NoteFrames, rng: np.random.Generator) -> NoteFrames:
    """The frames cut elsewhere, in another tone, with more overtones, noise or no downbeats."""
    n_all = len(frames.level)
    n_kept = n_all if rng.random() < 0.35 else int(n_all * rng.uniform(0.45, 1))
    n_kept = max(n_kept, min(n_all, FEWEST_SEGMENTS))
    first = int(rng.integers(n_all - n_kept + 1))
    if rng.random() < 0.45:
        first = 0 if frames.is_start else n_all - n_kept
    is_inner = 0 < first < n_all - n_kept
    is_start = frames.is_start != (is_inner and rng.random() < 0.3)
    kept = slice(first, first + n_kept)
    downbeat = frames.downbeat[kept] * (rng.random() > 0.3)
    return replace(
        frames,
        notes=_other_tone(frames.notes[kept].astype(np.float64) ** 2, rng),
        level=frames.level[kept],
        downbeat=downbeat,
        length_s=frames.length_s[kept],
        is_start=is_start,
    )


def _other_tone(power: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    power = power * np.exp(0.51 * rng.normal(size=(1, power.shape[1], 1)))
    if rng.random() < 0.08:
        power[:, 0] *= 0.05
    for semitones, share, most in (
        (7, 0.3, 0.2),
        (4, 0.2, 0.12),
        (1, 0.08, 0.15),
        (-1, 0.08, 0.15),
    ):
        if rng.random() < share:
            power = power + rng.uniform(0, most) * np.roll(power, semitones, axis=2)
    if rng.random() < 0.5:
        power = power + 0.02 * rng.random() ** 2 * rng.random(power.shape)
    power[:, :4] /= power[:, :4].sum(axis=(1, 2), keepdims=True) + 1e-6
    power[:, 4] /= power[:, 4].sum(axis=1, keepdims=True) + 1e-6
    return np.asarray(np.sqrt(power))
