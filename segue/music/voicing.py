"""Chords voiced by least motion, and tones that lead from key to key by the least bend or none.

Four voices: the bass takes the root, three upper voices the rest in close or
open position within one register. The sequence of voicings is the one whose
upper voices move least in all, found by dynamic programming; voices are
ascending, so they never cross.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Final

from segue.music.chord import Chord, tonic_triad
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import collection

if TYPE_CHECKING:
    from collections.abc import Sequence


BASS_RANGE_MIDI: Final = (40, 51)
"""E2 to D#3: one octave, so every root has exactly one place. Set by judgement."""

UPPER_RANGE_MIDI: Final = (55, 74)
"""G3 to D5: under most voices' first notes and above the mud. Set by judgement."""

_UPPER_VOICES: Final = 3  # of a pad's chord, above its bass
_WIDEST_GAP: Final = 12  # semitones between neighbours above the bass: an octave, common practice


def voiced(chords: Sequence[Chord]) -> tuple[tuple[int, ...], ...]:
    """Notes of each chord, bass first, moving as little as possible.

    MIDI notes of each chord, strictly ascending, in four voices.

    Parameters
    ----------
    chords : sequence of Chord
        At least one.

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


_BEND_ORDER: Final = ("root", "fifth", "third")
"""Which tone of the new chord a bend had rather arrive at: the firmest first."""

_HELD_DEGREES: Final = (5, 1, 3, 4, 2, 6, 7)
"""Which degree of the new scale had rather be held.

The fifth lets the bass that enters under it be news, then the rest of the
tonic chord; after these the fourth and the second, which hang over the new
bass as a suspension does, and last what grates. Common practice, no source.
"""
_N_CHORD_DEGREES: Final = 3
"""So many of them, from the first, make up the tonic chord."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """A tone of the old tonic chord and how far it is to one of the new.

    Parameters
    ----------
    tone : int
        Pitch class that is left.
    semitones : int
        Up, or down where negative; 0 where both chords have the tone.
    """

    tone: int
    semitones: int


def least_bend(old: Key, new: Key) -> Bend:
    """The smallest step from a tone of the old tonic chord to one of the new.

    Returns
    -------
    Bend
        Among equal steps the one to the new root, then the fifth, then the third.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> least_bend(parse_key("E minor"), parse_key("F minor"))
    Bend(tone=4, semitones=1)
    """
    bends = [
        Bend(tone=a, semitones=(b - a + 5) % N_PITCH_CLASSES - 5)
        for b in _tones(new, _BEND_ORDER)
        for a in _tones(old, _BEND_ORDER)
    ]
    return min(bends, key=lambda bend: abs(bend.semitones))


def held_tone(old: Key, new: Key) -> int:
    """A pitch class of both keys' scales that can be held from the one into the other.

    Minor keys count with their natural scale. Any two scales have two tones in
    common or more, so there always is one. Only four pairs (transpositions
    apart) leave nothing but tones outside the new tonic chord: there it is the
    new fourth, or else the second. Of the two tones that such scales share
    either lies a semitone from both tonic chords, and these at least stand well
    over the new bass.

    Returns
    -------
    int
        A tone of both tonic chords, else one of the new chord that the old scale
        has, else another of both scales; each the fifth first, then the root, the
        third, the fourth and the second of the new key.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> held_tone(parse_key("E minor"), parse_key("F minor"))  # C
    0
    >>> held_tone(parse_key("F minor"), parse_key("D major"))  # G, which hangs over D
    7
    """
    scale = sorted(collection(new), key=lambda tone: (tone - new.tonic) % N_PITCH_CLASSES)
    tones = [scale[degree - 1] for degree in _HELD_DEGREES]
    chord, old_scale = tonic_triad(old).pitch_classes, collection(old)
    in_both_chords = [tone for tone in tones[:_N_CHORD_DEGREES] if tone in chord]
    return (in_both_chords or [tone for tone in tones if tone in old_scale])[0]


def _tones(key: Key, order: tuple[str, ...]) -> list[int]:
    root, third, fifth = tonic_triad(key).pitch_classes
    return [{"root": root, "third": third, "fifth": fifth}[name] for name in order]
