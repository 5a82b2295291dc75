"""What is told of a pad's chords: in which of the two keys they are at home."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.music.key import N_PITCH_CLASSES
from segue.music.lerdahl import collection
from segue.music.region import own_chords

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import KeyFact
    from segue.music.key import Key
    from segue.plan.layer import Voicing


def home_words(voicings: Sequence[Voicing], old: KeyFact, new: KeyFact) -> str:
    """Which of the chords are at home in which key, to follow the chords themselves.

    Parameters
    ----------
    voicings : sequence of Voicing
    old, new : KeyFact
        As the join was planned from.

    Returns
    -------
    str
        Such as 'all at home in A minor and in C major', or 'of which C is at home
        in E minor and in F minor'. Chords of only one key are told where none
        is of both. Empty where no chord is at home in either key.
    """
    if not old.is_known and not new.is_known:
        return "a guess, as no key was heard"
    by_place: dict[str, list[str]] = {}
    for symbol, notes_midi in {v.symbol: v.notes_midi for v in voicings}.items():
        by_place.setdefault(_place(notes_midi, old.key, new.key), []).append(symbol)
    if len(by_place) == 1 and "" not in by_place:
        return f"all at home in {next(iter(by_place))}"
    by_place.pop("", None)
    both = _both(old.key, new.key)
    told = {both: by_place[both]} if both in by_place else by_place
    homes = [f"{_listed(symbols)} in {place}" for place, symbols in told.items()]
    if not homes:
        return ""
    verb = "is" if len(next(iter(told.values()))) == 1 else "are"
    return f"of which {', '.join(homes).replace(' in ', f' {verb} at home in ', 1)}"


def _place(notes_midi: tuple[int, ...], old: Key, new: Key) -> str:
    """Where a chord is at home, in words; empty for nowhere."""
    is_old, is_new = _is_at_home(notes_midi, old), _is_at_home(notes_midi, new)
    if is_old and is_new:
        return _both(old, new)
    return str(old) if is_old else str(new) if is_new else ""


def _both(old: Key, new: Key) -> str:
    return str(new) if old == new else f"{old} and in {new}"


def _is_at_home(notes_midi: tuple[int, ...], key: Key) -> bool:
    """Whether it is a triad of the key, with nothing added but tones of its scale."""
    tones = {note % N_PITCH_CLASSES for note in notes_midi}
    triads = [set(chord.pitch_classes) for chord in own_chords(key)]
    return any(triad <= tones and tones - triad <= collection(key) for triad in triads)


def _listed(symbols: list[str]) -> str:
    """Such as 'C, Em and G'."""
    head = ", ".join(symbols[:-1])
    return f"{head} and {symbols[-1]}" if head else symbols[-1]
