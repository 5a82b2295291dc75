"""What was heard of songs, in words: one wording a fact, for the terminal, pages and sheets.

Drums, speech and free time give nothing to lead to or from. Then the other song gives it
(`filled_in`): the join stays in its key, and bars are counted at its tempo, so that no chord
changes and no tempo moves for the sake of a guess.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from segue.analysis.doubts import rival_tempi_bpm
from segue.analysis.facts import SURE_CONFIDENCE, have_keys
from segue.music.interval import relation
from segue.music.key import Key, note_in
from segue.music.tempo import bpm_number, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import EdgeFacts, KeyFact, LevelFact, Opening, PulseFact


def filled_in(outgoing: EdgeFacts, incoming: EdgeFacts) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts of a pair, each with the other's key and tempo where it has none of its own.

    Returns
    -------
    outgoing, incoming : EdgeFacts
        As they were where there was a key and a pulse, or where neither song has one. What is
        taken over keeps the confidence with which nothing was heard, and a doubt says it.
    """
    return _filled(outgoing, incoming), _filled(incoming, outgoing)


def _filled(facts: EdgeFacts, other: EdgeFacts) -> EdgeFacts:
    doubts = list(facts.doubts)
    key, pulse = facts.key, facts.pulse
    if not key.is_known and other.key.is_known:
        key = replace(key, key=other.key.key, runners_up=())
        doubts.append(
            f"Without a key of its own, the segue stays in {key.key}, as '{other.title}'."
        )
    if not pulse.is_known and other.pulse.is_known:
        pulse = replace(
            pulse,
            tempo_bpm=other.pulse.tempo_bpm,
            tempo_alternatives_bpm=(),
            beats_s=(),
            downbeats_s=(),
            metre=other.pulse.metre,
        )
        doubts.append(
            "Without a pulse of its own, the bars of the segue are counted at "
            f"{bpm_number(pulse.tempo_bpm)} BPM, as '{other.title}'."
        )
    return replace(facts, key=key, pulse=pulse, doubts=tuple(doubts))


def edge_chord_words(facts: EdgeFacts) -> str:
    """What the edge itself plays, for example 'ends on bVII (Eb)'; empty where it is not clear."""
    edge, key = facts.edge_chord, facts.key.known_key
    if edge is None or edge.confidence < LEAST_CONFIDENCE:
        return ""
    does = "ends on" if facts.edge == "end" else "starts on"
    sure = "" if edge.confidence >= SURE_CONFIDENCE else "?"
    if key is None:
        return f"{does} {edge.chord.symbol(flats=True)}{sure}"
    return f"{does} {edge.chord.roman(key)} ({edge.chord.symbol_in(key)}){sure}"


LEAST_CONFIDENCE: Final = 0.5
"""Chords at the edge less sure are not told in words. Set by judgement."""


def file_loudness_words(level: LevelFact) -> str:
    """The loudness of the file's own channels, where it is not the one that plays."""
    if level.file_lufs is None or abs(level.file_lufs - level.loudness_lufs) < LEAST_LU:
        return ""
    return f"{level.file_lufs:.1f} LUFS by ITU-R BS.1770 for its one channel"


LEAST_LU: Final = 0.05
"""Loudness is told in tenths: less is no difference."""
NO_KEY: Final = "none heard"
NO_PULSE: Final = "free time"
ENDING_WORDS: Final[dict[str, str]] = {
    "keeps going": "keeps going to the end",
    "cold stop": "stops cold",
    "ring-out": "rings out",
    "fade": "fades",
}
OPENING_WORDS: Final[dict[str, str]] = {
    "on the beat": "starts on the beat",
    "pick-up": "starts on a pick-up",
    "free intro": "starts in free time",
}


def key_words(fact: KeyFact) -> str:
    """Such as 'E minor'; 'none heard' where there is no key to go by."""
    return str(fact.key) if fact.is_known else NO_KEY


def tempo_words(pulse: PulseFact) -> str:
    """Such as '124 BPM'; 'free time' where there is no pulse to go by."""
    return f"{bpm_number(pulse.tempo_bpm)} BPM" if pulse.is_known else NO_PULSE


def keys_sentence(outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """How the keys of a join lie to each other, or what it goes by where one has none.

    Without its full stop.
    """
    if have_keys(outgoing, incoming):
        return relation(outgoing.key.key, incoming.key.key)
    if not outgoing.key.is_known and not incoming.key.is_known:
        return "No key was heard in either song: the chords of pads and cue are a guess"
    unheard, known = (incoming, outgoing) if outgoing.key.is_known else (outgoing, incoming)
    return (
        f"No key was heard at the {unheard.edge} of '{unheard.title}': "
        f"pads and cue keep to {known.key.key}"
    )


def first_note_name(incoming: EdgeFacts, outgoing: EdgeFacts | None = None) -> str | None:
    """The singer's first note, such as 'Bb3', spelled in `spelling_key` or else with sharps.

    None where there is no first note.
    """
    if incoming.first_note is None:
        return None
    return note_in(incoming.first_note.midi, spelling_key(incoming, outgoing))


def spelling_key(incoming: EdgeFacts, outgoing: EdgeFacts | None) -> Key | None:
    """The key that notes of a song are spelled in.

    Parameters
    ----------
    outgoing : EdgeFacts or None
        The end of the song that is led over from; None where nothing leads over.

    Returns
    -------
    Key or None
        Its own, or else that of the join; None where neither was heard.
    """
    return incoming.key.known_key or (None if outgoing is None else outgoing.key.known_key)


NOT_TOLD: Final = "-"
"""Where a fact is none of an edge: an end has no first note."""
_MOST_RIVALS: Final = 2  # keys that it may be instead
_EDGE_HEADINGS: Final = (("end", "ends"), ("start", "starts"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """A fact of some songs.

    Parameters
    ----------
    cells : tuple of str
        One a song.
    """

    name: str
    cells: tuple[str, ...]


def fact_table(facts: Sequence[EdgeFacts]) -> tuple[FactRow, ...]:
    """All that is told of some song edges, fact by fact.

    What is unsure has a question mark, what was given says so.
    """
    edges = {f.edge for f in facts}
    edge_name = " / ".join(words for edge, words in _EDGE_HEADINGS if edge in edges)
    rows = (
        ("key", heard_key_words),
        ("at the edge", lambda f: edge_chord_words(f) or NOT_TOLD),
        ("tuning", lambda f: f"{f.tuning_cents:+.0f} cents"),
        ("tempo", heard_tempo_words),
        ("metre", _metre_words),
        ("level", _level_words),
        (edge_name, _edge_words),
        ("first note", _note_words),
    )
    return tuple(FactRow(name=name, cells=tuple(words(f) for f in facts)) for name, words in rows)


def heard_key_words(facts: EdgeFacts) -> str:
    """The key, how sure it is and what else it may be, such as 'E minor 93 % (or G major 5 %)'."""
    fact = facts.key
    if fact.source == "given":
        return f"{fact.key} (given)"
    if not fact.is_known:
        return key_words(fact)
    others = ", ".join(f"{k.key} {percent(k.weight)}" for k in fact.runners_up[:_MOST_RIVALS])
    told = f"{fact.key}{_mark(fact.confidence)} {percent(fact.confidence)}"
    return told + (f" (or {others})" if others else "")


def heard_tempo_words(facts: EdgeFacts) -> str:
    """The tempo and what else it may be, such as '96 BPM? (or 48)'."""
    pulse = facts.pulse
    if pulse.source == "given":
        return f"{pulse.tempo_bpm:g} BPM (given)"
    if not pulse.is_known:
        return tempo_words(pulse)
    others = ", ".join(f"{bpm:.0f}" for bpm in rival_tempi_bpm(pulse))
    told = f"{tempo_words(pulse)}{_mark(pulse.confidence)}"
    return told + (f" (or {others})" if others else "")


def _mark(confidence: float) -> str:
    return "" if confidence >= SURE_CONFIDENCE else "?"


def _metre_words(facts: EdgeFacts) -> str:
    pulse = facts.pulse
    if not pulse.is_known:
        return NOT_TOLD
    sure = _mark(pulse.downbeat_confidence)
    return f"{pulse.metre} beats a bar{sure}, {len(pulse.downbeats_s)} bars heard"


def _level_words(facts: EdgeFacts) -> str:
    level = facts.level
    own = file_loudness_words(level)
    played = f"{level.loudness_lufs:.1f} LUFS" + (f" ({own})" if own else "")
    return f"{played}, peak {level.true_peak_dbtp:+.1f} dBTP"


def _edge_words(facts: EdgeFacts) -> str:
    if facts.ending is not None:
        outro_s = facts.ending.outro_start_s
        quieter = "" if outro_s is None else f", quieter from {outro_s:.1f} s"
        told = f"{facts.ending.kind}{_mark(facts.ending.confidence)}"
        return f"{told}, last hit at {facts.ending.last_hit_s:.2f} s{quieter}"
    opening = facts.opening
    if opening is None:
        return ""
    told = opening_words(opening, _mark(opening.confidence))
    up = "" if opening.faded_in_s is None else f", comes up until {opening.faded_in_s:.1f} s"
    return f"{told}, bar one at {opening.first_downbeat_s:.2f} s{up}"


def opening_words(opening: Opening, mark: str = "") -> str:
    """How a song starts, with the mark of a doubt behind it, such as 'pick-up? of 1.5 beats'."""
    pickup = f" of {counted_beats(opening.pickup_beats)}" if opening.pickup_beats else ""
    return f"{opening.kind}{mark}{pickup}"


_THIRD: Final = 0.01  # thirds of a beat are told to this


def counted_beats(beats: float) -> str:
    """Beats of a pick-up as a musician counts them.

    Examples
    --------
    >>> counted_beats(1.5), counted_beats(5 / 3), counted_beats(1)
    ('1.5 beats', '1 2/3 beats', '1 beat')
    """
    whole, rest = divmod(round(3 * beats), 3)
    number = f"{beats:g}"
    if rest and abs(3 * whole + rest - 3 * beats) < _THIRD:
        number = f"{whole} {rest}/3" if whole else f"{rest}/3"
    return f"{number} {'beats' if beats > 1 else 'beat'}"


def _note_words(facts: EdgeFacts) -> str:
    if facts.first_note is not None:
        return f"{first_note_name(facts)} at {facts.first_note.time_s:.2f} s"
    return NOT_TOLD if facts.edge == "end" else "none heard"
