"""Voicing chords by least motion.

Four voices: the bass takes the root, three upper voices the rest in close or
open position within one register. The sequence of voicings is the one whose
upper voices move least in all, found by dynamic programming; voices are
ascending, so they never cross.
"""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Final

from segue.music.key import N_PITCH_CLASSES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.music.chord import Chord

BASS_RANGE_MIDI: Final = (40, 51)
"""E2 to D#3: one octave, so every root has exactly one place. Set by judgement."""

UPPER_RANGE_MIDI: Final = (55, 74)
"""G3 to D5: under most voices' first notes and above the mud. Set by judgement."""

_UPPER_VOICES: Final = 3  # of a pad's chord, above its bass
_WIDEST_GAP: Final = 12  # semitones between neighbours above the bass: an octave, common practice


def voiced(chords: Sequence[Chord]) -> tuple[tuple[int, ...], ...]:
    """Notes of each chord, bass first, moving as little as possible.

    Parameters
    ----------
    chords : sequence of Chord
        At least one.

    Returns
    -------
    tuple of tuple of int
        MIDI notes of each chord, strictly ascending, four voices.

    Examples
    --------
    >>> from segue.music.chord import Chord
    >>> voiced([Chord(root=0, quality="major"), Chord(root=9, quality="minor")])
    ((48, 55, 64, 72), (45, 57, 64, 72))
    """
    layers = [_uppers(chord) for chord in chords]
    # Start near the middle of the register, so that the first chord is well placed too.
    middle = sum(UPPER_RANGE_MIDI) / 2
    best: list[tuple[float, tuple[tuple[int, ...], ...]]] = [
        (abs(sum(u) / _UPPER_VOICES - middle), (u,)) for u in layers[0]
    ]
    for layer in layers[1:]:
        best = [
            min((cost + _motion(path[-1], upper), (*path, upper)) for cost, path in best)
            for upper in layer
        ]
    _, uppers = min(best)
    return tuple((_bass(chord), *upper) for chord, upper in zip(chords, uppers, strict=True))


def _bass(chord: Chord) -> int:
    low = BASS_RANGE_MIDI[0]
    return low + (chord.root - low) % N_PITCH_CLASSES


def _uppers(chord: Chord) -> list[tuple[int, ...]]:
    """All placements of three upper voices that complete the chord."""
    tones = chord.pitch_classes
    needed = set(tones[-_UPPER_VOICES:])  # a seventh chord leaves its root to the bass
    low, high = UPPER_RANGE_MIDI
    notes = [n for n in range(low, high + 1) if n % N_PITCH_CLASSES in needed]
    return [
        trio
        for trio in combinations(notes, _UPPER_VOICES)
        if {n % N_PITCH_CLASSES for n in trio} == needed
        and all(b - a <= _WIDEST_GAP for a, b in pairwise(trio))
    ]


def _motion(before: Sequence[int], after: Sequence[int]) -> int:
    return sum(abs(a - b) for a, b in zip(before, after, strict=True))
