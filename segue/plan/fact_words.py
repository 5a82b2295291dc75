"""What was heard of a song, in words: one wording a fact, for the terminal and the pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.analysis.doubts import rival_tempi_bpm
from segue.analysis.facts import SURE_CONFIDENCE
from segue.music.percent import percent
from segue.plan.heard_words import (
    edge_chord_words,
    file_loudness_words,
    first_note_name,
    key_words,
    tempo_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.analysis.facts import EdgeFacts

NOT_TOLD: Final = "-"
"""Where a fact is none of an edge: an end has no first note."""
_MOST_RIVALS: Final = 2  # keys that it may be instead
_EDGE_HEADINGS: Final = (("end", "ends"), ("start", "starts"))


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """A fact of some songs.

    Parameters
    ----------
    name : str
        Of the fact.
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
    pickup = f" of {counted_beats(opening.pickup_beats)}" if opening.pickup_beats else ""
    told = f"{opening.kind}{_mark(opening.confidence)}{pickup}"
    up = "" if opening.faded_in_s is None else f", fades in until {opening.faded_in_s:.1f} s"
    return f"{told}, bar one at {opening.first_downbeat_s:.2f} s{up}"


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


_THIRD: Final = 0.01  # thirds of a beat are told to this


def _note_words(facts: EdgeFacts) -> str:
    if facts.first_note is not None:
        return f"{first_note_name(facts)} at {facts.first_note.time_s:.2f} s"
    return NOT_TOLD if facts.edge == "end" else "none heard"
