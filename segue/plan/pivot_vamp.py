"""A vamp on chords that two keys share, and the cadence that leaves it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.music.chord import tonic_triad
from segue.music.lerdahl import chord_distance
from segue.music.path import PathStep, chord_path
from segue.music.region import shared_chords

if TYPE_CHECKING:
    from segue.music.cadence import CadenceChoice
    from segue.music.key import Key

_MIDDLE_OF = 4
"""Chords of the path whose middle two stand in where the keys share none."""


def pivot_vamp(
    old: Key, new: Key, *, n_chords: int, cadence: CadenceChoice
) -> tuple[list[PathStep], tuple[str, ...]]:
    """Two chords to and fro that belong to both keys, then the cadence.

    With one chord in common the old tonic takes turns with it; with none, the
    middle of the path between the keys stands in.

    Parameters
    ----------
    old, new : Key
    n_chords : int
        With the cadence.
    cadence : {'dominant', 'subdominant', 'flat seventh', 'any'}

    Returns
    -------
    steps : list of PathStep
    notes : tuple of str
        That the keys share no chord, where that is so.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> c, g = parse_key("C major"), parse_key("G major")
    >>> steps, _ = pivot_vamp(c, g, n_chords=5, cadence="dominant")
    >>> [step.symbol for step in steps]
    ['C', 'Am', 'C', 'Am', 'D7']
    """
    (last,) = chord_path(old, new, n_chords=1, cadence=cadence)
    shared = shared_chords(old, new)
    notes: tuple[str, ...] = ()
    if shared:
        pair = _pair(old, new, [PathStep(chord=c, key=new, pivot_from=old) for c in shared], last)
    else:
        way = chord_path(old, new, n_chords=_MIDDLE_OF, cadence=cadence)
        pair = (way[1], way[2])
        note = (
            f"{old} and {new} share no chord: the vamp takes the middle of the way "
            f"between them, {pair[0].symbol} and {pair[1].symbol}."
        )
        notes = (note,)
    return [*(pair[n % 2] for n in range(n_chords - 1)), last], notes


def _pair(old: Key, new: Key, shared: list[PathStep], last: PathStep) -> tuple[PathStep, PathStep]:
    """The shared chord nearest to the old tonic, and the other nearest to the cadence.

    The new tonic is kept for the entry where another chord will do.
    """
    home, goal = tonic_triad(old), tonic_triad(new)
    first = min(shared, key=lambda step: chord_distance(home, old, step.chord, old))
    others = [step for step in shared if step.chord not in (first.chord, goal, last.chord.triad)]
    if others:
        return first, min(others, key=lambda s: chord_distance(s.chord, new, last.chord, new))
    if first.chord != home:
        return PathStep(chord=home, key=old), first
    return first, PathStep(chord=goal, key=new)
