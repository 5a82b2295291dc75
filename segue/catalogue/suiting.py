"""How well the start of one song suits the end of another: one cost of four parts.

Each part is 0 (nothing to bridge) to 1. Keys count by the consensus of four published
models (`segue.music.tonal_space.key_distance`). What counts how much, the tables of
endings and openings, and where a part is full are set by judgement (common practice,
no source): these parts, which `pairs` adds up, sort a list for people who then listen.
A key that was not heard costs nothing, as nothing has to be led anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, get_args

from segue.analysis.facts import EndingKind, OpeningKind
from segue.music.interval import interval_name, relation
from segue.music.key import ALL_KEYS, MODES, N_PITCH_CLASSES, Key
from segue.music.tempo import bpm_number, tempo_step_words
from segue.music.tonal_space import key_distance
from segue.plan.heard_words import NO_KEY, NO_PULSE

KEY_SHARE, TEMPO_SHARE, LEVEL_SHARE, JOIN_SHARE = 0.4, 0.4, 0.1, 0.1
"""Weights of the parts; they add to 1. Set by judgement, so that the same key 30 % faster costs
about what a semitone at the same tempo does, and a whole tone 10 % slower costs less than both."""
FULL_TEMPO_OCTAVES: Final = 0.5
"""Half-way to double tempo: farther, and counting double or half is nearer."""
OTHER_PULSE_COST: Final = 0.2
"""For counting half or double: easy to play, but not the same dance."""
FREE_TIME_COST: Final = 0.25
"""Where one of the edges has no clear pulse."""
SILENT_LUFS: Final = -70.0
"""The absolute gate of ITU-R BS.1770: what lies below it all the time counts as no sound."""
FULL_LEVEL_LU: Final = 12.0  # a step of level that counts in full; by judgement
ENDINGS: Final[tuple[str, ...]] = get_args(EndingKind)
OPENINGS: Final[tuple[str, ...]] = get_args(OpeningKind)
JOIN_COSTS: Final[dict[str, dict[str, float]]] = {
    "keeps going": {"on the beat": 0.0, "pick-up": 0.2, "free intro": 0.6},
    "cold stop": {"on the beat": 0.1, "pick-up": 0.1, "free intro": 0.3},
    "ring-out": {"on the beat": 0.2, "pick-up": 0.3, "free intro": 0.0},
    "fade": {"on the beat": 0.5, "pick-up": 0.5, "free intro": 0.2},
}
_SAME_LEVEL_LU: Final = 2.0  # a step that is not worth a word; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeTraits:
    """What one edge brings to a comparison.

    Parameters
    ----------
    key : Key or None
        None where none was heard.
    tempo_bpm : float or None
        None in free time.
    kind : str
        Of the ending or the opening.
    """

    key: Key | None
    tempo_bpm: float | None
    loudness_lufs: float
    kind: str

    @property
    def is_silent(self) -> bool:
        """Whether there is no sound at all."""
        return self.loudness_lufs <= SILENT_LUFS

    @property
    def tempo_octaves(self) -> float:
        """Tempo as the logarithm to base 2 of BPM; NaN in free time."""
        return math.nan if self.tempo_bpm is None else math.log2(self.tempo_bpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """How one edge lies to another, in a few words each.

    Parameters
    ----------
    key, tempo : str
        Such as 'up a fourth' and '8 % faster'; empty where one of them has no key or no pulse.
    level : str
        Such as '4 dB louder'.
    """

    key: str
    tempo: str
    level: str


def reasons(end: EdgeTraits, start: EdgeTraits) -> tuple[str, ...]:
    """Why two songs suit each other or do not, in words.

    Returns
    -------
    tuple of str
        Key, tempo, level, and how one stops and the other starts.
    """
    step = step_between(end, start)
    keys = f"{key_words(end)}, then {key_words(start)}"
    if end.key is not None and start.key is not None:
        keys = relation(end.key, start.key)
    old = tempo_words(end) if start.tempo_bpm is None else tempo_words(end).removesuffix(" BPM")
    tempi = f"{old} to {tempo_words(start)}"
    return (
        keys,
        f"{step.tempo} ({tempi})" if step.tempo else tempi,
        step.level,
        f"{end.kind}, then {start.kind}",
    )


def step_between(end: EdgeTraits, start: EdgeTraits) -> Step:
    """How the start of a song lies to the end of another."""
    return Step(
        key=interval_name(end.key, start.key) if end.key and start.key else "",
        tempo=_tempo_words(start.tempo_octaves - end.tempo_octaves),
        level=_level_words(start.loudness_lufs - end.loudness_lufs),
    )


def semitones_between(end: EdgeTraits, start: EdgeTraits) -> int | None:
    """From the tonic of an end to that of a start by the shorter way, -5..6; None without keys."""
    if end.key is None or start.key is None:
        return None
    up = (start.key.tonic - end.key.tonic) % N_PITCH_CLASSES
    return up if up <= N_PITCH_CLASSES // 2 else up - N_PITCH_CLASSES


def key_words(side: EdgeTraits) -> str:
    """The key of an edge, or that there is none."""
    return NO_KEY if side.key is None else str(side.key)


def tempo_words(side: EdgeTraits) -> str:
    """The tempo of an edge, or that there is none."""
    return NO_PULSE if side.tempo_bpm is None else f"{bpm_number(side.tempo_bpm)} BPM"


def key_index(key: Key | None) -> int:
    """Place of a key among `ALL_KEYS`; the place after them where there is none."""
    return len(ALL_KEYS) if key is None else MODES.index(key.mode) * N_PITCH_CLASSES + key.tonic


def table_of_kinds() -> tuple[tuple[float, ...], ...]:
    """Weighted cost of key and join, by (key, ending) down and (key, opening) across."""
    keys = (*ALL_KEYS, None)
    return tuple(
        tuple(
            KEY_SHARE * _key_cost(old, new) + JOIN_SHARE * JOIN_COSTS[ending][opening]
            for new in keys
            for opening in OPENINGS
        )
        for old in keys
        for ending in ENDINGS
    )


def _key_cost(old: Key | None, new: Key | None) -> float:
    return 0.0 if old is None or new is None else key_distance(old, new)


def _tempo_words(step_octaves: float) -> str:
    return "" if math.isnan(step_octaves) else tempo_step_words(2.0**step_octaves)


def _level_words(step_lu: float) -> str:
    if abs(step_lu) <= _SAME_LEVEL_LU:
        return "same level"
    return f"{abs(step_lu):.0f} dB {'louder' if step_lu > 0 else 'softer'}"
