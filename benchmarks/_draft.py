"""A piece before it is rendered, and its truth in the seconds of the rendered file."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from benchmarks._attacks import Attacks
from benchmarks._render import DRUM_CHANNEL, Performance

PITCH_CLASSES: Final = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
NEAR_BEAT_S: Final = 0.035
"""Notes that start so near to a beat are on it."""
TOGETHER_S: Final = 0.01
"""Attacks that follow the first one of a beat so closely are heard as one with it."""

Edge = Literal["start", "end"]
Group = Literal["score", "groove"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What to play, which part of it becomes the file, and what is true of it.

    Times are those of the performance; `resample_cents` shifts pitch and time afterwards.
    `kind` is how it ends or opens, None for the end of a score, which may be held or cut.
    """

    performance: Performance
    group: Group
    style: str
    edge: Edge
    kind: str | None
    tonic: int
    mode: Literal["major", "minor"]
    time_signature: str
    beats_s: tuple[float, ...]
    downbeat_of_beat: tuple[bool, ...]
    tempo_bpm: float
    tempo_range_bpm: tuple[float, float]
    from_s: float
    to_s: float
    fade_s: float = 0.0
    resample_cents: float = 0.0
    mp3_level: float | None = None
    piece: str | None = None

    @property
    def has_drums(self) -> bool:
        """Whether anything sounds on the drum channel."""
        return any(note.channel == DRUM_CHANNEL for note in self.performance.notes)

    @property
    def speed_ratio(self) -> float:
        """How much faster the file is than the performance."""
        return float(2 ** (self.resample_cents / 1200))


def beat_attacks_s(draft: Draft, attacks: Attacks) -> list[float]:
    """The moment at which each beat is heard.

    It is the attack of the drums on the beat; without drums on it, of the first notes to be
    heard there; a beat on which nothing starts follows its neighbours.
    """
    starts_s = np.array([note.start_s for note in draft.performance.notes])
    offs = [_attack_off_s(draft, attacks, starts_s, beat_s) for beat_s in draft.beats_s]
    heard = [off for off in offs if off is not None]
    usual_s = float(np.median(heard)) if heard else 0.0
    return [
        beat_s + (usual_s if off is None else off)
        for beat_s, off in zip(draft.beats_s, offs, strict=True)
    ]


def _attack_off_s(
    draft: Draft, attacks: Attacks, starts_s: np.ndarray, beat_s: float
) -> float | None:
    notes = draft.performance.notes
    near = [notes[index] for index in np.flatnonzero(np.abs(starts_s - beat_s) <= NEAR_BEAT_S)]
    near = [note for note in near if note.channel == DRUM_CHANNEL] or near
    if not near:
        return None
    voices = draft.performance.voices
    heard_s = np.array([note.start_s + attacks.delay_of(note, voices) for note in near])
    return float(heard_s[heard_s <= heard_s.min() + TOGETHER_S].mean()) - beat_s


def sounding_cents(draft: Draft, attacks: Attacks) -> float:
    """Tuning of what sounds: the set detuning plus the weighted median error of the samples."""
    voices = draft.performance.voices
    offs, weights = [], []
    for note in draft.performance.notes:
        inside_s = min(note.start_s + note.length_s, draft.to_s) - max(note.start_s, draft.from_s)
        if note.channel != DRUM_CHANNEL and inside_s > 0:
            offs.append(attacks.off_cents_of(voices[note.channel].program, note.midi))
            weights.append(inside_s * note.velocity)
    order = np.argsort(offs)
    share = np.cumsum(np.asarray(weights)[order]) / np.sum(weights)
    median = float(np.asarray(offs)[order][np.searchsorted(share, 0.5)])
    return draft.performance.tuning_cents + draft.resample_cents + median


def truth_of(draft: Draft, attacks: Attacks) -> dict[str, object]:
    """The truth of the rendered file, as a JSON object."""

    def file_s(time_s: float) -> float:
        return (time_s - draft.from_s) / draft.speed_ratio

    length_s = file_s(draft.to_s)
    beats = [
        (file_s(attack_s), is_downbeat)
        for attack_s, is_downbeat in zip(
            beat_attacks_s(draft, attacks), draft.downbeat_of_beat, strict=True
        )
    ]
    beats = [beat for beat in beats if 0.0 <= beat[0] < length_s]
    numerator, denominator = (int(part) for part in draft.time_signature.split("/"))
    is_compound = denominator == 8 and numerator % 3 == 0
    return {
        "key": f"{PITCH_CLASSES[draft.tonic]} {draft.mode}",
        "tempo_bpm": draft.tempo_bpm * draft.speed_ratio,
        "tempo_range_bpm": [bpm * draft.speed_ratio for bpm in draft.tempo_range_bpm],
        "time_signature": draft.time_signature,
        "metre": numerator // 3 if is_compound else numerator,
        "beats_s": [round(time_s, 5) for time_s, _ in beats],
        "downbeats_s": [round(time_s, 5) for time_s, is_downbeat in beats if is_downbeat],
        "tuning_cents": round(sounding_cents(draft, attacks), 2),
        "nominal_tuning_cents": round(draft.performance.tuning_cents + draft.resample_cents, 2),
        "has_drums": draft.has_drums,
        "kind": draft.kind,
        "group": draft.group,
        "style": draft.style,
        "piece": draft.piece,
        "edge": draft.edge,
        "length_s": round(length_s, 4),
        "is_lossy": draft.mp3_level is not None,
    }


def tempo_facts(beats_s: tuple[float, ...] | list[float]) -> tuple[float, tuple[float, float]]:
    """Tempo of the best line through the beats, and its range over any eight beats."""
    times_s = np.asarray(beats_s)
    numbers = np.arange(len(times_s))
    span = min(8, len(times_s) - 1)
    local_bpm = 60 * span / (times_s[span:] - times_s[:-span])
    mean_bpm = 60 / float(np.polyfit(numbers, times_s, 1)[0])
    low, high = float(local_bpm.min()), float(local_bpm.max())
    return mean_bpm, (min(low, mean_bpm), max(high, mean_bpm))
