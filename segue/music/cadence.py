"""Cadences: the chord that announces a key, one before its tonic."""

from __future__ import annotations

from typing import Final, Literal, get_args

from segue.music.chord import Chord
from segue.music.key import N_PITCH_CLASSES, Key

Cadence = Literal["dominant", "subdominant", "flat seventh"]
CADENCES: Final[tuple[Cadence, ...]] = get_args(Cadence)
"""V7, IV (iv in minor) and bVII (VII in minor), each before the tonic."""

CadenceChoice = Literal["dominant", "subdominant", "flat seventh", "any"]
"""A cadence, or whichever comes cheapest."""
CADENCE_CHOICES: Final[tuple[CadenceChoice, ...]] = get_args(CadenceChoice)


def cadence_chord(cadence: Cadence, key: Key) -> Chord:
    """The last chord before the tonic.

    Parameters
    ----------
    cadence : {'dominant', 'subdominant', 'flat seventh'}
    key : Key
        The key that is entered.

    Returns
    -------
    Chord
        With its seventh where it is the dominant.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> key = parse_key("G major")
    >>> [cadence_chord(cadence, key).symbol(flats=False) for cadence in CADENCES]
    ['D7', 'C', 'F']
    """
    match cadence:
        case "dominant":
            return Chord(root=(key.tonic + 7) % N_PITCH_CLASSES, quality="dominant seventh")
        case "subdominant":
            return Chord(root=(key.tonic + 5) % N_PITCH_CLASSES, quality=key.mode)
        case "flat seventh":
            return Chord(root=(key.tonic + 10) % N_PITCH_CLASSES, quality="major")
