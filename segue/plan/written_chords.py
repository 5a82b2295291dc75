"""Chords that somebody wrote: which they are, and how they share the bridge."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.music.chord_path import PathStep
from segue.music.chord_words import parse_numeral
from segue.music.region import fit

if TYPE_CHECKING:
    from segue.music.key import Key


def written_steps(chords: str, old: Key, new: Key) -> list[PathStep]:
    """Written chords, each in the key that it is heard in.

    Parameters
    ----------
    chords : str
        Numerals in the new key.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> e_minor, f_minor = parse_key("E minor"), parse_key("F minor")
    >>> [step.symbol for step in written_steps("vii V bVI V7", e_minor, f_minor)]
    ['Em', 'C', 'Db', 'C7']
    """
    steps = []
    for word in chords.split():
        chord = parse_numeral(word, new)
        is_old = fit(chord, old) == "own" and fit(chord, new) != "own"
        steps.append(PathStep(chord=chord, key=old if is_old else new))
    return steps


def chord_edges(n_chords: int, start: float, end: float, metre: int) -> list[float]:
    """Beats on which chords begin, and the last ends: whole bars where there are enough.

    Else half bars, or beats; what does not come out even goes to the first of them, so that the
    chords move faster towards the end.

    Parameters
    ----------
    start, end : float
        Of the bridge.
    metre : int
        Beats a bar.

    Examples
    --------
    >>> chord_edges(3, 8, 24, 4), chord_edges(5, 0, 16, 4)
    ([8, 16, 20, 24], [0, 4, 8, 12, 14, 16])
    """
    halves = [metre // 2] if metre % 2 == 0 else []
    length = end - start
    unit = next((u for u in (metre, *halves, 1) if u * n_chords <= length), length / n_chords)
    each, extra = divmod(round(length / unit), n_chords)
    edges = [start]
    for n in range(n_chords):
        edges.append(edges[-1] + (each + (n < extra)) * unit)
    return [*edges[:-1], end]
