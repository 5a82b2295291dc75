"""Names of the distance between two tonics, as a band would say them."""

from __future__ import annotations

from typing import Final, Literal

from segue.music.key import N_PITCH_CLASSES, Key

_NAMES: Final = {
    1: "a semitone up",
    2: "a whole tone up",
    3: "a minor third up",
    4: "a major third up",
    5: "a fourth up",
    6: "a tritone away",
    7: "a fourth down",
    8: "a major third down",
    9: "a minor third down",
    10: "a whole tone down",
    11: "a semitone down",
}


def interval_name(a: Key, b: Key) -> str:
    """How the new key lies to the old one.

    Parameters
    ----------
    a, b : Key
        Old and new key.

    Returns
    -------
    str
        Words that follow "F minor is ...".

    Examples
    --------
    >>> interval_name(Key(tonic=9, mode="minor"), Key(tonic=0, mode="major"))
    'the relative major'
    >>> interval_name(Key(tonic=4, mode="minor"), Key(tonic=5, mode="minor"))
    'a semitone up'
    """
    if a == b:
        return "the same key"
    if a.relative_major_tonic == b.relative_major_tonic:
        return f"the relative {b.mode}"
    if a.tonic == b.tonic:
        return f"the parallel {b.mode}"
    return _NAMES[(b.tonic - a.tonic) % N_PITCH_CLASSES]


def relation(a: Key, b: Key) -> str:
    """How two keys lie to each other, as a sentence without its full stop.

    Parameters
    ----------
    a, b : Key
        Old and new key.

    Returns
    -------
    str
        Begins with a capital, since key names do.

    Examples
    --------
    >>> relation(Key(tonic=4, mode="minor"), Key(tonic=5, mode="minor"))
    'F minor is a semitone up from E minor'
    >>> relation(Key(tonic=9, mode="minor"), Key(tonic=0, mode="major"))
    'C major is the relative major of A minor'
    """
    if a == b:
        return f"Both songs are in {a}"
    word = "from" if a.tonic != b.tonic and "relative" not in interval_name(a, b) else "of"
    return f"{b} is {interval_name(a, b)} {word} {a}"


def reads_as(a: Key, b: Key) -> Literal["lift", "drop", "neither"]:
    """How the step from one key to the other is felt, whatever it costs to get there.

    Common practice, no source: the same mode a semitone or a whole tone higher
    lifts, as last choruses do; lower, it drops.

    Parameters
    ----------
    a, b : Key
        Old and new key.

    Returns
    -------
    {'lift', 'drop', 'neither'}

    Examples
    --------
    >>> reads_as(Key(tonic=0, mode="major"), Key(tonic=2, mode="major"))
    'lift'
    """
    if a.mode != b.mode:
        return "neither"
    match (b.tonic - a.tonic) % N_PITCH_CLASSES:
        case 1 | 2:
            return "lift"
        case 10 | 11:
            return "drop"
        case _:
            return "neither"
