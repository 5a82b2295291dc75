"""What is printed: facts, options, recipes, as tables for people or JSON for machines."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

from rich.console import Console

from segue.analysis.doubts import settling
from segue.analysis.facts import EdgeFacts, Ending, KeyFact, Opening, have_keys
from segue.cli.hints import has_option, plain_table, print_next, print_sentence
from segue.music.interval import change_words
from segue.music.tonal_space import key_distance
from segue.music.transposition import FAR_DISTANCE, transposition_advice
from segue.plan.heard_words import fact_table, keys_sentence
from segue.score.weights import costliest_first

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.table import Table

    from segue.analysis.structure_facts import BarFact, LoopFact, PhraseFact
    from segue.music.key import Key
    from segue.recipes import Shelf
    from segue.runfolder import CandidateRecord, RunDocument

_N_WEAKEST = 2  # measures named below an option
_HEADINGS_WIDTH, _SONG_WIDTH = 14, 22
"""Columns of a terminal that a table of facts needs at least."""


def print_json(value: Any) -> None:  # noqa: ANN401 - any JSON value
    """Print a JSON value on the output stream."""
    print(json.dumps(value, indent=1, ensure_ascii=False))


def print_facts(facts: Sequence[EdgeFacts]) -> None:
    """Print the facts of songs, as many side by side as fit, then what is uncertain."""
    console = Console(soft_wrap=False)
    n_beside = max(1, (console.width - _HEADINGS_WIDTH) // _SONG_WIDTH)
    for first in range(0, len(facts), n_beside):
        if first:
            console.print()
        console.print(_fact_table(facts[first : first + n_beside]), markup=False)
    for f in facts:
        for doubt in f.doubts:
            print_sentence(console, "  ? ", f"{f.title}: {doubt}{_remedy(f, doubt)}")


def _remedy(facts: EdgeFacts, doubt: str) -> str:
    """What settles a doubt: options that the command at hand has, if it has any."""
    whose = "old" if facts.edge == "end" else "new"
    known = settling(facts, doubt)
    if "edge_seconds" in known:
        return " Read more with --edge-seconds." if has_option("--edge-seconds") else ""
    options = [f"--{whose}-{name}" for name in known]
    there = [option for option in options if has_option(option)]
    return f" Settle it with {' or '.join(there)}." if there else ""


def _fact_table(facts: Sequence[EdgeFacts]) -> Table:
    songs = (f"{'end' if f.edge == 'end' else 'start'} of {f.title}" for f in facts)
    table = plain_table("", *songs, overflow="fold")
    for row in fact_table(facts):
        table.add_row(row.name, *row.cells)
    return table


def print_options(document: RunDocument) -> None:
    """Print the options, best first, each with its reason and its weakest points."""
    console = Console(soft_wrap=False)
    _print_keys(console, document)
    if document.weights == "own":
        console.print("Scored with your own weights (see 'segue taste').\n", highlight=False)
    elif document.purpose is not None:
        console.print(f"Scored as a segue to {document.purpose}.\n", highlight=False)
    shared = _shared_notes(document)
    told = keys_sentence(document.outgoing, document.incoming)
    fresh = [note for note in shared if not note.startswith(told)]
    for note in fresh:
        print_sentence(console, "  ! ", note)
    if fresh:
        console.print()
    for record in document.candidates:
        own = tuple(note for note in record.notes if note not in shared)
        print_candidate(console, document, record, own)


def _shared_notes(document: RunDocument) -> tuple[str, ...]:
    """What is to be said of every option alike, which is said once, before them."""
    first, *others = document.candidates
    return tuple(note for note in first.notes if all(note in other.notes for other in others))


def _print_keys(console: Console, document: RunDocument) -> None:
    """How far apart the keys are, where both songs have one."""
    old, new = document.outgoing.key, document.incoming.key
    if not have_keys(document.outgoing, document.incoming):
        sentence = keys_sentence(document.outgoing, document.incoming)
        console.print(f"\n{sentence}.\n", markup=False, highlight=False)
        return
    console.print(f"\n{change_words(old.key, new.key)}\n", markup=False, highlight=False)
    _print_nearer(console, old.key, new.key)


def _print_nearer(console: Console, old: Key, new: Key) -> None:
    """What moving the new song would do, where the change of key is hard."""
    if key_distance(old, new) < FAR_DISTANCE:
        return
    advice = transposition_advice(old, new)
    if advice.best.semitones:
        semitones = advice.best.semitones
        hear = f" Hear it with --new-shift {semitones}." if has_option("--new-shift") else ""
        console.print(f"{advice.sentence}{hear}", markup=False, highlight=False)
        print_next("What it costs the band", "path", str(old), str(new))
        console.print()


def print_recipes(shelf: Shelf) -> None:
    """Print the names and summaries of recipes, and where they come from."""
    table = plain_table("recipe", "family", "from", "what happens", overflow="fold")
    for one in shelf.shelved:
        table.add_row(one.recipe.name, one.recipe.family, one.origin, one.recipe.summary)
    Console().print(table, markup=False)


def print_where(document: RunDocument, out: Path) -> None:
    """Print where the files are and what to do next."""
    print(f"Listen and compare: {out / 'audition.html'}")
    print(f"Best marked: {out / document.candidates[0].music_file}")
    print_next("Open the page", "audition", out)
    print_next("Then choose", "choose", out, "NUMBER")


def run_report(document: RunDocument, out: Path) -> dict[str, Any]:
    """A run as JSON values: facts, options and where the files are."""
    return {
        "out": str(out),
        "outgoing": facts_report(document.outgoing),
        "incoming": facts_report(document.incoming),
        "purpose": document.purpose,
        "weights": document.weights,
        "candidates": [candidate_report(record) for record in document.candidates],
    }


def print_candidate(
    console: Console, document: RunDocument, record: CandidateRecord, notes: tuple[str, ...]
) -> None:
    """Print one option with its reason, what costs it most and some notes on it."""
    card = record.scorecard
    tie = " (a tie with the one before)" if record.is_tie else ""
    console.print(
        f"{record.label}  {record.plan.recipe}  {card.overall:.2f} of 1{tie}   "
        f"{record.length_words}, enters at {record.entry_s:.2f} s",
        style="bold",
        markup=False,
        highlight=False,
    )
    if record.version is not None:
        changes = ", ".join(record.version.changes)
        print_sentence(console, "   ", f"Changed from {record.version.of}: {changes}.")
    print_sentence(console, "   ", record.plan.why)
    for fault in card.faults:
        print_sentence(console, "   ! ", fault.words)
    # How hard the change of key is, is the pair's, not the option's: it is told once, above.
    own = [measure for measure in card.measures if measure.name != "key_distance"]
    weights = document.weights_of(record)
    for measure in costliest_first(own, weights=weights)[:_N_WEAKEST]:
        print_sentence(console, "   - ", measure.sentence)
    for note in notes:
        print_sentence(console, "   ! ", note)
    console.print()


def candidate_report(record: CandidateRecord) -> dict[str, Any]:
    """An option as JSON values."""
    version = record.version
    return {
        "rank": record.rank,
        "label": record.label,
        "version_of": None if version is None else version.of,
        "changes": [] if version is None else list(version.changes),
        "is_tie": record.is_tie,
        "recipe": record.plan.recipe,
        "family": record.plan.family,
        "why": record.plan.why,
        "score": round(record.scorecard.overall, 4),
        "music_file": record.music_file,
        "exit_s": round(record.exit_s, 4),
        "entry_s": round(record.entry_s, 4),
        "bars": [
            {"number": bar.number, "time_s": round(bar.time_s, 4), "section": bar.section}
            for bar in record.bars
        ],
        "loudness_lufs": round(record.loudness_lufs, 2),
        "true_peak_dbtp": round(record.true_peak_dbtp, 2),
        "measures": [
            {
                "name": m.name,
                "value": round(m.value, 4),
                "unit": m.unit,
                "score": round(m.score, 4),
                "sentence": m.sentence,
            }
            for m in record.scorecard.measures
        ],
        "faults": [fault.sentence for fault in record.scorecard.faults],
        "not_measured": [
            {"name": one.name, "why": one.why} for one in record.scorecard.not_measured
        ],
        "notes": list(record.notes),
    }


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
    report["died_away_s"] = _rounded(facts.died_away_s)
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
