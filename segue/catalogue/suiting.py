"""How well the start of one song suits the end of another: one cost of four parts.

Each part is 0 (nothing to bridge) to 1. Keys count by the consensus of four published
models (`segue.music.tonal_space.key_distance`). What counts how much, the tables of
endings and openings, and where a part is full are set by judgement (common practice,
no source): these parts sort a list for people who then listen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

from segue.analysis.facts import EndingKind, OpeningKind
from segue.music.interval import relation
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES
from segue.music.tonal_space import key_distance

if TYPE_CHECKING:
    from segue.music.key import Key

KEY_SHARE, TEMPO_SHARE, LEVEL_SHARE, JOIN_SHARE = 0.4, 0.3, 0.15, 0.15
"""Weights of the parts; they add to 1."""
FULL_TEMPO_OCTAVES: Final = math.log2(1.25)
"""A quarter faster is as far as any tempo: nobody ramps that far within some bars."""
OTHER_PULSE_COST: Final = 0.25
"""For counting half or double: easy to play, but not the same dance."""
FREE_TIME_COST: Final = 0.3
"""Where one of the edges has no clear pulse."""
LEAST_PULSE: Final = 0.3
"""Below this confidence an edge is in free time, as `PulseFact` says."""
FULL_LEVEL_LU: Final = 12.0
ENDINGS: Final[tuple[str, ...]] = get_args(EndingKind)
OPENINGS: Final[tuple[str, ...]] = get_args(OpeningKind)
JOIN_COSTS: Final[dict[str, dict[str, float]]] = {
    "keeps going": {"on the beat": 0.0, "pick-up": 0.2, "free intro": 0.6},
    "cold stop": {"on the beat": 0.1, "pick-up": 0.1, "free intro": 0.3},
    "ring-out": {"on the beat": 0.2, "pick-up": 0.3, "free intro": 0.0},
    "fade": {"on the beat": 0.5, "pick-up": 0.5, "free intro": 0.2},
}
_SAME_TEMPO_OCTAVES: Final = math.log2(1.02)
_SAME_LEVEL_LU: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """What one edge brings to a comparison.

    Parameters
    ----------
    key : Key
    tempo_bpm : float
    has_pulse : bool
    loudness_lufs : float
    kind : str
        Of the ending or the opening.
    """

    key: Key
    tempo_bpm: float
    has_pulse: bool
    loudness_lufs: float
    kind: str

    @property
    def tempo_octaves(self) -> float:
        """Tempo as the logarithm to base 2 of BPM; NaN in free time."""
        return math.log2(self.tempo_bpm) if self.has_pulse else math.nan


def cost(end: Side, start: Side) -> float:
    """What it takes to go from one song's end to another's start, 0..1.

    Parameters
    ----------
    end, start : Side

    Returns
    -------
    float
    """
    return (
        (KEY_SHARE * key_distance(end.key, start.key) + JOIN_SHARE * _join_cost(end, start))
        + TEMPO_SHARE * tempo_cost(end, start)
    ) + LEVEL_SHARE * min(abs(start.loudness_lufs - end.loudness_lufs) / FULL_LEVEL_LU, 1.0)


def tempo_cost(end: Side, start: Side) -> float:
    """The part of the tempo, 0..1; half and double tempo count as near."""
    step = abs(start.tempo_octaves - end.tempo_octaves)
    if math.isnan(step):
        return FREE_TIME_COST
    other = abs(step - 1.0) / FULL_TEMPO_OCTAVES + OTHER_PULSE_COST
    return min(step / FULL_TEMPO_OCTAVES, other, 1.0)


def reasons(end: Side, start: Side) -> tuple[str, ...]:
    """Why two songs suit each other or do not, in words.

    Parameters
    ----------
    end, start : Side

    Returns
    -------
    tuple of str
        Key, tempo, level, and how one stops and the other starts.
    """
    return (
        relation(end.key, start.key),
        _tempo_words(end, start),
        _level_words(start.loudness_lufs - end.loudness_lufs),
        f"{end.kind}, then {start.kind}",
    )


def key_index(key: Key) -> int:
    """Place of a key among `ALL_KEYS`."""
    return MODES.index(key.mode) * N_PITCH_CLASSES + key.tonic


def table_of_kinds() -> tuple[tuple[float, ...], ...]:
    """Weighted cost of key and join, by (key, ending) down and (key, opening) across."""
    return tuple(
        tuple(
            KEY_SHARE * key_distance(old, new) + JOIN_SHARE * JOIN_COSTS[ending][opening]
            for new in ALL_KEYS
            for opening in OPENINGS
        )
        for old in ALL_KEYS
        for ending in ENDINGS
    )


def _join_cost(end: Side, start: Side) -> float:
    return JOIN_COSTS[end.kind][start.kind]


def _tempo_words(end: Side, start: Side) -> str:
    step = start.tempo_octaves - end.tempo_octaves
    if math.isnan(step):
        return "free time"
    tempi = f"{end.tempo_bpm:.0f} to {start.tempo_bpm:.0f} BPM"
    for octaves, words in ((0, "same tempo"), (1, "double tempo"), (-1, "half tempo")):
        if abs(step - octaves) <= _SAME_TEMPO_OCTAVES:
            return f"{words} ({tempi})"
    return f"{abs(2.0**step - 1):.0%} {'faster' if step > 0 else 'slower'} ({tempi})"


def _level_words(step_lu: float) -> str:
    if abs(step_lu) <= _SAME_LEVEL_LU:
        return "same level"
    return f"{abs(step_lu):.0f} dB {'louder' if step_lu > 0 else 'softer'}"
