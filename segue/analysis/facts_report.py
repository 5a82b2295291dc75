"""The facts of an edge as plain JSON values, for machines."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts, Ending, KeyFact, Opening
    from segue.analysis.structure_facts import BarFact, LoopFact, PhraseFact


def facts_report(facts: EdgeFacts) -> dict[str, Any]:
    """One object of the array that ``segue analyse --json`` prints.

    Returns
    -------
    dict
        Only str, float, int, list, dict and None; times in seconds from the
        start of the file.
    """
    pulse, first = facts.pulse, facts.first_note
    report: dict[str, Any] = {
        "file": facts.file,
        "title": facts.title,
        "edge": facts.edge,
        "duration_s": round(facts.duration_s, 4),
        "key": _key_report(facts.key),
        "edge_chord": _edge_chord_report(facts),
        "tuning_cents": round(facts.tuning_cents, 2),
        "tuning_spread_cents": round(facts.tuning_spread_cents, 2),
        "tempo_bpm": round(pulse.tempo_bpm, 4),
        "tempo_alternatives_bpm": [round(bpm, 4) for bpm in pulse.tempo_alternatives_bpm],
        "metre": pulse.metre,
        "beats_s": [round(t, 4) for t in pulse.beats_s],
        "downbeats_s": [round(t, 4) for t in pulse.downbeats_s],
        "beat_confidence": round(pulse.confidence, 3),
        "downbeat_confidence": round(pulse.downbeat_confidence, 3),
        "loudness_lufs": round(facts.level.loudness_lufs, 2),
        "file_loudness_lufs": _rounded(facts.level.file_lufs, 2),
        "true_peak_dbtp": round(facts.level.true_peak_dbtp, 2),
    }
    if facts.ending is not None:
        report["ending"] = _plain(facts.ending)
    if facts.opening is not None:
        report["opening"] = _plain(facts.opening)
    report["first_note"] = (
        None if first is None else {"midi": round(first.midi, 2), "time_s": round(first.time_s, 4)}
    )
    report["phrases"] = _plain(facts.phrases)
    report["loops"] = [_plain(loop) for loop in facts.loops]
    report["bars"] = [_plain(bar) for bar in facts.bars]
    report["applause_s"] = _rounded(facts.applause_s)
    report["doubts"] = list(facts.doubts)
    return report


_DIGITS: Final = {"confidence": 3, "pickup_beats": 3, "outro_db": 2}  # of numbers; of others four


def _plain(fact: Ending | Opening | PhraseFact | LoopFact | BarFact) -> dict[str, Any]:
    """Every field by its name, numbers rounded."""

    def rounded(name: str, value: Any) -> Any:  # noqa: ANN401 - any field
        if isinstance(value, tuple):
            return [rounded(name, one) for one in value]
        return round(value, _DIGITS.get(name, 4)) if isinstance(value, float) else value

    return {field.name: rounded(field.name, getattr(fact, field.name)) for field in fields(fact)}


def _key_report(fact: KeyFact) -> dict[str, Any]:
    return {
        "tonic": fact.key.tonic_name,
        "mode": fact.key.mode,
        "confidence": round(fact.confidence, 3),
        "runners_up": [
            {"tonic": k.key.tonic_name, "mode": k.key.mode, "weight": round(k.weight, 3)}
            for k in fact.runners_up
        ],
    }


def _edge_chord_report(facts: EdgeFacts) -> dict[str, Any] | None:
    """The chord at the edge itself, its degree where there is a key to count from."""
    edge, key = facts.edge_chord, facts.key.known_key
    if edge is None:
        return None
    flats = key is not None and key.prefers_flats
    return {
        "chord": edge.chord.symbol_in(key) if key else edge.chord.symbol(flats=flats),
        "root": edge.chord.root,
        "quality": edge.chord.quality,
        "degree": edge.chord.roman(key) if key else None,
        "confidence": round(edge.confidence, 3),
    }


def _rounded(value: float | None, n_digits: int = 4) -> float | None:
    return None if value is None else round(value, n_digits)
