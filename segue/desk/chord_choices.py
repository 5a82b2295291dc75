"""Chords that could stand where one of the bridge stands, nearest to its neighbours first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.errors import OptionError
from segue.music.chord import CADENCES, Chord, cadence_chord, tonic_triad
from segue.music.chord_words import parse_chord
from segue.music.key import N_PITCH_CLASSES
from segue.music.tonal_space import chord_distance, collection

if TYPE_CHECKING:
    from segue.music.chord import Quality
    from segue.music.key import Key
    from segue.plan.plan import Plan

MOST_CHOICES: Final = 5
"""More would be a list to search in."""
_TRIADS: Final[tuple[Quality, ...]] = ("major", "minor")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordChoice:
    """A chord of the bridge, and what fits in its place.

    Parameters
    ----------
    symbol : str
        As it is now.
    others : tuple of str
        Symbols, the likeliest first.
    """

    symbol: str
    others: tuple[str, ...]


def chord_choices(plan: Plan) -> tuple[ChordChoice, ...]:
    """Each planned chord with others that fit.

    They are triads of either key's scale, and before the entry the cadences of the new key; near
    is what is near to both neighbours in Lerdahl's chord distance (`segue.music.tonal_space`), in
    whichever of the two keys is nearer. A drone on a fifth has none that could take its place.
    """
    voicings = plan.voicings
    keys = (plan.key_from, plan.key_to)
    try:
        chords = [parse_chord(voicing.symbol) for voicing in voicings]
    except OptionError:
        return tuple(ChordChoice(symbol=voicing.symbol, others=()) for voicing in voicings)
    arrived = tonic_triad(plan.key_to)
    found = []
    for n, voicing in enumerate(voicings):
        before = chords[n - 1] if n else tonic_triad(plan.key_from)
        after = chords[n + 1] if n + 1 < len(chords) else arrived
        offered = _scale_triads(keys)
        if n + 1 == len(chords):
            offered |= {cadence_chord(cadence, plan.key_to) for cadence in CADENCES}
        offered -= {chords[n], before, after}
        nearest = sorted(offered, key=lambda c: (_cost(before, c, after, keys), c))
        others = tuple(chord.symbol_in(_home(chord, keys)) for chord in nearest[:MOST_CHOICES])
        found.append(ChordChoice(symbol=voicing.symbol, others=others))
    return tuple(found)


def _scale_triads(keys: tuple[Key, Key]) -> set[Chord]:
    every = [Chord(root=root, quality=q) for root in range(N_PITCH_CLASSES) for q in _TRIADS]
    return {c for c in every if any(set(c.pitch_classes) <= collection(key) for key in keys)}


def _cost(before: Chord, chord: Chord, after: Chord, keys: tuple[Key, Key]) -> int:
    return sum(
        min(chord_distance(x, key, y, key) for key in keys)
        for x, y in ((before, chord), (chord, after))
    )


def _home(chord: Chord, keys: tuple[Key, Key]) -> Key:
    """The key that a chord is spelled in: the new one, unless only the old one has it."""
    old, new = keys
    is_old = set(chord.triad.pitch_classes) <= collection(old)
    is_new = set(chord.triad.pitch_classes) <= collection(new)
    return old if is_old and not is_new else new
